"""What was used last: a few things by key, the one longest unused given up for the next."""

from __future__ import annotations

from collections import OrderedDict


class Kept(OrderedDict):
    """The `most` things used last, by key."""

    def __init__(self, most: int):
        super().__init__()
        self.most = most

    def get(self, key, default=None):
        """Return what is kept under `key`, as the one used last; `default` where nothing is."""
        if key not in self:
            return default
        self.move_to_end(key)
        return self[key]

    def keep(self, key, value):
        """Keep `value` as the one used last, and return it."""
        self[key] = value
        self.move_to_end(key)
        while len(self) > self.most:
            self.popitem(last=False)
        return value
