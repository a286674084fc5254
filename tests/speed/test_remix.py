"""Mixing stored layers against drawing the frame."""

from pathlib import Path

from rooms import plain_tables, view_across

from previz.build.assemble import build_set
from previz.frames.hazed import hazed_frame, light_layers
from previz.frames.layers import LayeredStill, read_layers, shown, write_layers
from previz.rays.lit import light_set
from previz.scene.model import Scene

GOAL_SHARE = 0.1
SAMPLES = dict(passes=8, lamp_samples=8, haze_samples=1)
CHANGES = {"remix": {"key": 0.5, "fill": 0.0}, "exposure": {"exposure": 1.0}, "haze": {"haze": 1.2}}


def test_share_of_a_frame(figures, seconds, tmp_path: Path):
    """960 x 540, eight rays a pixel, two lamps: other levels, another exposure, thicker haze, each developed, cost at most 10 % of the frame; reading the file is told beside."""
    tables = plain_tables()
    tables["lamp"].append({**tables["lamp"][0], "name": "fill", "colour": "#88aaff", "at": [-685.0, 140.0, 581.0]})
    scene, view = Scene.model_validate(tables), view_across(960, 540)
    lit = light_set(scene, build_set(scene, folder=None))
    kept = LayeredStill(light_layers(lit, view, **SAMPLES), shown(lit, view), ("key", "fill"), (), 800.0, 14.0, 1 / 240)
    write_layers(tmp_path / "a.exr", kept)
    frame_s, layers_s, read_s, *mixes = seconds(
        lambda: hazed_frame(lit, view, **SAMPLES),
        lambda: light_layers(lit, view, **SAMPLES),
        lambda: read_layers(tmp_path / "a.exr"),
        *(lambda mix=mix: kept.developed(mix) for mix in CHANGES.values()),
        times=3,
    )
    shares = {name: spent / frame_s for name, spent in zip(CHANGES, mixes)}
    figures.keep("remix", frame_s=frame_s, layers_over_frame=layers_s / frame_s, read_share=read_s / frame_s, **{f"{name}_share": share for name, share in shares.items()})
    assert max(shares.values()) + read_s / frame_s <= GOAL_SHARE
