"""
The engine behind the page: what each client looks at, drawn again whenever the scene changes, quickly at first and finely when it is still.

Takes scene files as they are edited and tried out, and what clients look at; tells clients of pictures, light and figures by number, to be fetched.

    quick thread    glances: the lens picture of each client, at once, from a coarse bake
    light thread    patches and shafts as lines, for the drawings
    slow thread     asks the process beside for fine pictures, packs to play, figures; breaks off what is stale

The newest always wins: of tries and looks that come while one is being drawn only the last is drawn next. A picture is the same,
byte for byte, as `still` gives it for the same file and bake; pictures are known by all that they depend on, so going back to
what was seen draws nothing. Nothing runs and nothing wakes while nothing changes.
"""

from __future__ import annotations

import json
import sys
import threading
import traceback
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from previz.bench.beside import Beside, Broken, Failed
from previz.bench.drawn import Drawer, shot_data
from previz.bench.glance import COARSE, coarse_stage, glance, picture_key, size_of
from previz.bench.kept import Kept
from previz.bench.lands import light_data
from previz.bench.stage import Stage, light_key, solids_key
from previz.frames.along import lit_at_moment
from previz.rays.lit import RAYS, TEXELS
from previz.rig.moves import plan_move
from previz.scene.faults import PrevizError
from previz.scene.model import Shot
from previz.scene.read import SceneFile

KEPT_PICTURES = 32
"""Pictures and sets of light data that can still be fetched (own choice)."""

KEPT_DRAWINGS = 4
"""Sets of drawing data that are kept, for clients that look at different shots (own choice)."""

FINE = ("draft", "good")
"""Qualities that a picture goes through when it is still: the first from the coarse bake, which need not be waited for."""

ANSWER_WITHIN_S, CLOSE_S = 300.0, 5.0

Tell = Callable[[str | None, dict], None]


@dataclass(frozen=True)
class Look:
    """What the lens paper of one client shows."""

    shot: str
    take_s: float
    width: int


@dataclass(frozen=True, eq=False)
class Wanted:
    """A picture or light that a client should have: of which file, at which revision, while it is tried out with which number."""

    who: str
    file: SceneFile
    rev: int
    seq: int | None
    look: Look

    @property
    def shot(self) -> Shot | None:
        """The shot looked at; None where the scene has none of that name."""
        return next((shot for shot in self.file.scene.shot if shot.name == self.look.shot), None)

    @property
    def take_s(self) -> float:
        """The moment of the take looked at, its first or last where what was asked for lies outside. [s]"""
        return min(max(self.look.take_s, 0.0), self.shot.take_s)


class Live:
    """
    The engine behind one page.

    Parameters
    ----------
    path : Path
        The scene file.
    workers : int or None
        Threads for pictures; None is all cores.
    tell : callable
        Given a client, or None for all of them, and a message. Called from threads of this object.
    bake : (int, int)
        Texels and rays of the bake that good pictures, packs and figures come from.
    """

    picture_kind = "image/png"

    def __init__(self, path: Path, *, workers: int | None, tell: Tell, bake: tuple[int, int] = (TEXELS, RAYS)):
        self.path, self._tell = Path(path), tell
        self._file, self._rev = None, -1
        self._tries: dict[str, tuple[SceneFile, int]] = {}
        self._looks: dict[str, Look] = {}
        self._glances, self._lights, self._fine = {}, {}, {}
        self._asked: list[_Question] = []
        self._figures, self._figures_for, self._sound = None, -1, -1
        self._wanted_still: Callable[[], bool] | None = None
        self._pictures, self._known, self._landed, self._landed_for = Kept(KEPT_PICTURES), Kept(4 * KEPT_PICTURES), Kept(KEPT_PICTURES), Kept(KEPT_PICTURES)
        self._packs = Kept(4)
        self._count, self._closed = 0, False
        self._changed = threading.Condition()
        self._stage, self._trial = coarse_stage(workers), coarse_stage(workers)
        self._drawer, self._drawings, self._drawing_held = Drawer(), Kept(KEPT_DRAWINGS), threading.Lock()
        self._beside, self._bake = Beside(workers), bake
        self._threads = [threading.Thread(target=self._loop, args=(work,), daemon=True, name=f"bench {work.__name__}") for work in (self._quick, self._land, self._slow)]
        for thread in self._threads:
            thread.start()

    def show(self, scene_file: SceneFile, rev: int) -> None:
        """Take up a new revision of the scene."""
        with self._changed:
            self._file, self._rev = scene_file, rev
            for who in self._looks:
                self._want(who)
            self._changed.notify_all()
        self._beside_stops()

    def try_(self, who: str, scene_file: SceneFile | None, seq: int) -> None:
        """Show a client a scene that is not stored, and the others where its light lands; None goes back to the one that is."""
        with self._changed:
            if scene_file is not None:
                self._tries[who] = (scene_file, seq)
            elif self._tries.pop(who, None) is None:
                return
            if who in self._looks:
                self._want(who)
            self._want_lights()
            self._changed.notify_all()
        self._beside_stops()

    def look(self, who: str, shot: str, take_s: float, width: int) -> None:
        """Note what a client's lens paper shows. [s], [pixel]"""
        with self._changed:
            self._looks[who] = Look(shot, take_s, width)
            self._want(who)
            self._changed.notify_all()
        self._beside_stops()

    def forget(self, who: str) -> None:
        """A client has left."""
        with self._changed:
            for table in (self._tries, self._looks, self._glances, self._lights, self._fine):
                table.pop(who, None)
            self._want_lights()
            self._changed.notify_all()
        self._beside_stops()

    def picture(self, n: int) -> bytes | None:
        """Return a picture that was told of; None where it is no longer kept."""
        with self._changed:
            return self._pictures.get(n)

    def light(self, n: int) -> dict | None:
        """Return light data that was told of; None where it is no longer kept."""
        with self._changed:
            return self._landed.get(n)

    def figures(self) -> dict | None:
        """Return the figures that were worked out last, `rev` among them; None before the first."""
        with self._changed:
            return self._figures

    def drawing(self, shot: str | None = None) -> dict | None:
        """
        Return the drawing data of the scene as it is now, its section through a shot (the first, where there is none of that name).

        As it was when it could last be built, where it cannot be; None where it never could.
        """
        with self._drawing_held:
            with self._changed:
                file, rev = self._file, self._rev
            names = [one.name for one in file.scene.shot] if file is not None else []
            shot = shot if shot in names else next(iter(names), None)
            found = self._drawings.get((rev, shot))
            if file is not None and found is None:
                try:
                    found = self._drawings.keep((rev, shot), {"rev": rev, **self._drawer.drawing(file, self._stage.built(file), shot)})
                except PrevizError:
                    pass  # Told by the thread that draws; the last good drawing stays on the table.
            return found or next(reversed(self._drawings.values()), None)

    def play(self, shot: str) -> bytes | None:
        """Return a shot of the scene as it is now, packed for playing; None where that could not be done or was overtaken."""
        return self._pack("play", shot)

    def walk(self) -> bytes | None:
        """Return the lit set packed for walking round it; None as for `play`."""
        return self._pack("walk", None)

    def close(self) -> None:
        """End all work."""
        with self._changed:
            self._closed = True
            for question in self._asked:
                question.answer(None)
            self._changed.notify_all()
        self._beside.close()
        for thread in self._threads:
            thread.join(CLOSE_S)

    # What is wanted.

    def _want(self, who: str) -> None:
        """Note, with the lock held, that a client is to see its picture and its light anew."""
        file, seq = self._tries.get(who, (self._file, None))
        if file is None:
            return
        wanted = Wanted(who, file, self._rev, seq, self._looks[who])
        self._glances[who] = wanted
        self._fine[who] = [] if seq is not None else [(wanted, quality) for quality in FINE]
        self._want_light(who)

    def _want_light(self, who: str) -> None:
        """Note, with the lock held, that a client is to see light anew: its own try's, else that of who began to drag last, else the scene's."""
        file, seq = self._tries.get(who) or next(reversed(self._tries.values()), (self._file, None))
        if file is not None:
            self._lights[who] = Wanted(who, file, self._rev, seq, self._looks[who])

    def _want_lights(self) -> None:
        """Note the same, with the lock held, of everyone who does not drag."""
        for who in self._looks:
            if who not in self._tries:
                self._want_light(who)

    def _loop(self, work: Callable[[], None]) -> None:
        """Do `work` again and again until closed; what goes wrong in it is told."""
        while not self._closed:
            try:
                work()
            except PrevizError as fault:
                self._tell(None, {"did": "fault", "says": str(fault)})
            except Exception as fault:
                if not self._closed:
                    traceback.print_exc(file=sys.stderr)
                    self._tell(None, {"did": "fault", "says": f"This is a fault of previz, not of your file: {fault}"})

    def _next(self, table: dict) -> Wanted | None:
        """Wait for something in `table`, and take it; who drags goes first."""
        with self._changed:
            self._changed.wait_for(lambda: self._closed or table)
            if self._closed:
                return None
            who = next((who for who in table if who in self._tries), next(iter(table)))
            return table.pop(who)

    def _stage_for(self, wanted: Wanted) -> Stage:
        """The stage of revisions where it has this set, so that no bake of a try pushes out that of the scene."""
        return self._stage if wanted.seq is None or self._stage.has(wanted.file) else self._trial

    # Quick thread.

    def _quick(self) -> None:
        wanted = self._next(self._glances)
        if wanted is None or wanted.shot is None:
            return
        if wanted.seq is None and self._sound != wanted.rev:
            # Every fault of what is stored is told; what is only tried out may pass through a wall.
            self._stage.built(wanted.file)
            with self._changed:
                self._sound = wanted.rev
                self._changed.notify_all()
        size = size_of(wanted.file.scene, wanted.look.width)
        for quality in reversed(FINE):
            if self._tell_known(wanted, size, quality):
                return
        key = picture_key(wanted.file, wanted.shot, wanted.take_s, size, "glance")
        if not self._tell_known(wanted, size, "glance"):
            png, drawn = glance(self._stage_for(wanted), wanted.file, wanted.shot, wanted.take_s, wanted.look.width)
            self._tell_picture(wanted, key, png, drawn, "low")

    def _tell_known(self, wanted: Wanted, size: tuple[int, int], quality: str) -> bool:
        """Tell of a picture that was drawn before, where it is still kept."""
        key = picture_key(wanted.file, wanted.shot, wanted.take_s, size, quality)
        with self._changed:
            n, drawn = self._known.get(key, (None, None))
            if n is None or self._pictures.get(n) is None:
                return False
        self._tell(wanted.who, _picture_news(n, wanted, drawn, "fine" if quality == FINE[-1] else "low"))
        return True

    def _tell_picture(self, wanted: Wanted, key: str, png: bytes, drawn: tuple[int, int], grade: str) -> None:
        with self._changed:
            n = self._number()
            self._pictures.keep(n, png)
            self._known.keep(key, (n, drawn))
        self._tell(wanted.who, _picture_news(n, wanted, drawn, grade))

    def _number(self) -> int:
        self._count += 1
        return self._count

    # Light thread.

    def _land(self) -> None:
        wanted = self._next(self._lights)
        if wanted is None or wanted.shot is None:
            return
        stage = self._stage_for(wanted)
        rolled = stage.rolled(wanted.file, wanted.shot)
        lit = lit_at_moment(rolled, plan_move(wanted.file.scene, wanted.shot, rolled.built), wanted.take_s)
        key = (solids_key(wanted.file), light_key(lit.scene), lit.medium.extinction_per_m, lit.lift_mm)
        with self._changed:
            data = self._landed_for.get(key)
        if data is None:
            data = light_data(lit)
        # Of a try there is no drawing data: what the move would be goes with its light.
        moved = None if wanted.seq is None else shot_data(wanted.file.scene, wanted.shot, rolled.built)
        with self._changed:
            self._landed_for.keep(key, data)
            n = self._number()
            self._landed.keep(n, {"rev": wanted.rev, "seq": wanted.seq, "shot": moved, **data})
        self._tell(wanted.who, {"did": "light", "n": n, "rev": wanted.rev, "seq": wanted.seq})

    # Slow thread.

    def _slow(self) -> None:
        with self._changed:
            self._changed.wait_for(lambda: self._closed or self._due() is not None)
            work = None if self._closed else self._due()
        if work is not None:
            work()

    def _due(self) -> Callable[[], None] | None:
        """What the process beside should do next, with the lock held: what somebody waits for, drafts, figures, good pictures; nothing while something is dragged."""
        if self._asked:
            return self._answer
        if self._tries or self._sound != self._rev:
            return None
        if self._next_fine(FINE[0]):
            return self._refine
        if self._figures_for != self._rev:
            return self._work_out
        return self._refine if self._next_fine(*FINE) else None

    def _next_fine(self, *qualities: str) -> str | None:
        """The client whose next picture has one of `qualities`, with the lock held; None where no such picture is due."""
        return next((who for who, steps in self._fine.items() if steps and steps[0][1] in qualities), None)

    def _refine(self) -> None:
        with self._changed:
            who = self._next_fine(FINE[0]) or self._next_fine(*FINE)
            if who is None:
                return
            step = self._fine[who][0]
        wanted, quality = step
        if wanted.shot is not None:
            size = size_of(wanted.file.scene, wanted.look.width)
            key = picture_key(wanted.file, wanted.shot, wanted.take_s, size, quality)
            with self._changed:
                known = self._known.get(key, (None,))[0]
                known = known is not None and self._pictures.get(known) is not None
            if not known:
                question = {"what": "picture", "shot": wanted.shot.name, "take_s": wanted.take_s, "size": size, "quality": quality}
                question["bake"] = COARSE if quality == FINE[0] else self._bake
                png = self._ask(question, wanted.file, "picture", lambda: self._is_next(who, step) and not self._tries and not self._asked)
                if png is None:
                    return
                if png:
                    self._tell_picture(wanted, key, png, size, "fine" if quality == FINE[-1] else "low")
        with self._changed:
            if self._is_next(who, step):
                del self._fine[who][0]

    def _is_next(self, who: str, step: tuple) -> bool:
        steps = self._fine.get(who)
        return bool(steps) and steps[0] is step

    def _work_out(self) -> None:
        with self._changed:
            file, rev = self._file, self._rev
        said = self._ask({"what": "figures"}, file, "figures", lambda: self._rev == rev and self._due_figures())
        with self._changed:
            if said is None:
                return
            self._figures_for = rev
            if not said:
                return
            self._figures = {"rev": rev, **json.loads(said)}
        self._tell(None, {"did": "figures", "rev": rev})

    def _due_figures(self) -> bool:
        """Whether figures may go on, with the lock held: nothing that a person waits for is due."""
        return not (self._asked or self._tries or self._next_fine(FINE[0]))

    def _answer(self) -> None:
        with self._changed:
            if not self._asked:
                return
            question = self._asked[0]
        found = self._ask(question.words, question.file, "play", lambda: question in self._asked)
        with self._changed:
            if question in self._asked:
                self._asked.remove(question)
                if found:
                    self._packs.keep(question.key, found)
        question.answer(found or None)

    def _pack(self, what: str, shot: str | None) -> bytes | None:
        with self._changed:
            file = self._file
            if file is None or self._closed or (shot is not None and all(one.name != shot for one in file.scene.shot)):
                return None
            key = (what, shot, solids_key(file), file.scene.model_dump_json(exclude={"title"}))
            packed = self._packs.get(key)
            if packed is not None:
                return packed
            question = _Question({"what": what, "shot": shot}, file, key)
            self._asked.append(question)
            self._changed.notify_all()
        self._beside_stops()
        return question.wait(ANSWER_WITHIN_S)

    def _ask(self, words: dict, file: SceneFile, what: str, still_wanted: Callable[[], bool]) -> bytes | None:
        """Ask the process beside; None where that was broken off, nothing (b"") where it failed, which is told."""
        with self._changed:
            self._wanted_still = still_wanted
            if not still_wanted() or self._closed:
                return None

        def said(share: float) -> None:
            self._tell(None, {"did": "working", "what": what, "share": share})

        said(0.0)
        try:
            return self._beside.ask({"bake": self._bake, **words, "path": str(file.path), "text": file.text}, said, still_wanted)
        except Broken:
            return None
        except Failed as fault:
            self._tell(None, {"did": "fault", "says": str(fault)})
            return b""
        finally:
            with self._changed:
                self._wanted_still = None
            self._tell(None, {"did": "working", "what": what, "share": None})

    def _beside_stops(self) -> None:
        """Break off what the process beside does, where that is no longer wanted."""
        with self._changed:
            stale = self._wanted_still is not None and not self._wanted_still()
        if stale:
            self._beside.stop()


class _Question:
    """Something that a client waits for, and its answer."""

    def __init__(self, words: dict, file: SceneFile, key: tuple):
        self.words, self.file, self.key = words, file, key
        self._answer, self._answered = None, threading.Event()

    def answer(self, found: bytes | None) -> None:
        """Hand over the answer."""
        self._answer = found
        self._answered.set()

    def wait(self, most_s: float) -> bytes | None:
        """Return the answer once it is there; None where there is none in time. [s]"""
        self._answered.wait(most_s)
        return self._answer


def _picture_news(n: int, wanted: Wanted, size: tuple[int, int], grade: str) -> dict:
    news = {"did": "picture", "n": n, "rev": wanted.rev, "seq": wanted.seq, "shot": wanted.look.shot, "take_s": wanted.look.take_s}
    return {**news, "grade": grade, "width": size[0], "height": size[1]}
