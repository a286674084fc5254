"""Long runs, only when they are named: pytest tests/soak -s."""

import time

import psutil
from served import Served, Soaking, hello

IDLE_S = 10.0


def test_ten_thousand_edits(tmp_path):
    """10,000 edits of two clients, the server killed and started again 20 times: the file is what they were told was saved."""
    begun = time.monotonic()
    soaking = Soaking(tmp_path, edits=10_000, kills=20, seed=2)
    soaking.run()
    soaking.check()
    print(f"\n{len(soaking.told):,} edits, {soaking.kills} kills, {soaking.asked:,} questions: {time.monotonic() - begun:.0f} s")


def test_idle_server(tmp_path):
    """A bench with a page that is open and still uses no processor: under 1 % of one."""
    bench = Served(tmp_path).pair()
    with bench.connect() as page:
        hello(page, "idle")
        process = psutil.Process(bench.process.pid)
        until = time.monotonic() + 60
        while time.monotonic() < until and _spent(process, 1.0) > 0.01:
            pass  # Figures are being worked out for the first time.
        share = _spent(process, IDLE_S)
    bench.end()
    print(f"\nidle: {100 * share:.2f} % of one processor")
    assert share < 0.01


def _spent(process, seconds):
    """The share of one processor that a process and those that it started use for some seconds."""

    def spent():
        return sum(sum(one.cpu_times()[:2]) for one in (process, *process.children(recursive=True)))

    before = spent()
    time.sleep(seconds)
    return (spent() - before) / seconds
