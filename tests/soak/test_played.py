"""The move played by the browser on the demo sets and where it is hardest: at rest it is the engine's fine picture."""

import shutil
from pathlib import Path

import pytest
from on_the_bench import SCENE, OnTheBench, light_of, played

from previz.build.load import load_set
from previz.frames.still import lit_at_roll, still
from previz.light.measured import unusable_files
from previz.rays.lit import light_set
from previz.rig.moves import plan_move

SCENES = Path(__file__).parents[2] / "scenes"
MEAN_ERROR = 0.03
"""Mean of the absolute differences of all pixels over the picture's mean: the page's goal."""

LATTICE = (
    SCENE.replace('size = [80, 90]\n', 'size = [80, 90]\nbars = { columns = 6, rows = 3, width = 4, depth = 2 }\n')
    .replace("diameter = 60", "diameter = 20")
    .replace("[lens]\n", "[lens]\nfocal = 20\nstop = 14\n")
    .replace('subject = "table"\niso = 1600', "focus = 40\niso = 3200")
)
"""Narrow shafts through haze, and all of the room far behind what a lens wide open is focused on."""


def test_narrow_shafts_out_of_focus_are_the_engines(chromium, tmp_path):
    """Through bars, in haze, a pupil wide open and focus near: in the middle of the take, about 145 pixels wide."""
    assert max(_off(chromium, tmp_path, LATTICE, (0.5,), device_scale_factor=0.5)) < MEAN_ERROR


@pytest.mark.parametrize("name", ["clockmakers-attic", "boathouse", "chapel-nave"])
def test_a_demo_set_is_played_as_the_engine_draws_it(chromium, tmp_path, name):
    """The first shot, about 290 pixels wide, at the beginning, in the middle and at the end of its take."""
    shutil.copytree(SCENES, tmp_path, dirs_exist_ok=True)
    assert max(_off(chromium, tmp_path, (SCENES / f"{name}.toml").read_text(), (0.0, 0.5, 1.0))) < MEAN_ERROR


def _off(chromium, folder, scene: str, shares, **options) -> list[float]:
    """Play the first shot of a scene in a page; return how far off the engine's fine picture it is at each of `shares` of the take. [1]"""
    bench = OnTheBench(folder, chromium, scene)
    try:
        page = bench.open(width=320, height=640, **options)
        seen = [played(page, share) for share in shares]
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
        off.append(float(abs(light_of(picture) - wanted).mean() / wanted.mean()))
        print(f"\n{shot.name}, {share:.2f} of the take, {picture.size}: {100 * off[-1]:.2f} % off", flush=True)
    return off
