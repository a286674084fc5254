"""The move played by the browser on the demo sets: at rest it is the engine's fine picture."""

import shutil
from pathlib import Path

import pytest
from on_the_bench import OnTheBench, light_of, played

from previz.build.load import load_set
from previz.frames.still import lit_at_roll, still
from previz.light.measured import unusable_files
from previz.rays.lit import light_set
from previz.rig.moves import plan_move

SCENES = Path(__file__).parents[2] / "scenes"
MEAN_ERROR = 0.03
"""Mean of the absolute differences of all pixels over the picture's mean: the page's goal."""


@pytest.mark.parametrize("name", ["clockmakers-attic", "boathouse", "chapel-nave"])
def test_a_demo_set_is_played_as_the_engine_draws_it(chromium, tmp_path, name):
    """The first shot, about 290 pixels wide, at the beginning, in the middle and at the end of its take."""
    shutil.copytree(SCENES, tmp_path, dirs_exist_ok=True)
    bench = OnTheBench(tmp_path, chromium, (SCENES / f"{name}.toml").read_text())
    try:
        page = bench.open(width=320, height=640)
        seen = [played(page, share) for share in (0.0, 0.5, 1.0)]
        bench.close_pages()
    finally:
        bench.stop()
    loaded, built = load_set(bench.scene, unusable_files)
    shot = loaded.scene.shot[0]
    move = plan_move(loaded.scene, shot, built)
    lit = lit_at_roll(light_set(loaded.scene, built), shot)
    off = []
    for share, picture in seen:
        wanted = light_of(still(lit, shot, move, share * move.take_s, picture.size, quality="fine").rgb)
        off.append(abs(light_of(picture) - wanted).mean() / wanted.mean())
        print(f"\n{name}, {shot.name}, {share:.2f} of the take, {picture.size}: {100 * off[-1]:.2f} % off", flush=True)
    assert max(off) < MEAN_ERROR
