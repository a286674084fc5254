"""Wall templates against one picture."""

from rooms import plain_room, view_across

from previz.build.assemble import build_set
from previz.frames.hazed import hazed_frame
from previz.rays.lit import light_set
from previz.scene.model import Scene
from previz.sheets.drawn import template_dxf, template_svg
from previz.sheets.pieces import pieces_of
from previz.sheets.templates import templates_pdf

WALLS = 30


def thirty_walls():
    """Return pieces of a set of 30 walls, each with a barred window: eight rooms side by side, two walls left off."""
    rooms, openings = [], []
    for i in range(8):
        x = i * 400
        names = ["south", "east", "north", "west"]
        rooms.append({"name": f"r{i}", "plan": [[x, 0], [x + 300, 0], [x + 300, 200], [x, 200]], "walls": names, "height": 150, "floor": False, "ceiling": False})
        rooms[-1]["open"] = ["west"] if i < 2 else []
        window = {"shape": "lancet", "at": [60, 30], "size": [40, 90], "bars": {"columns": 2, "rows": 3, "width": 3, "depth": 3}}
        openings += [{"name": f"window {i} {name}", "wall": f"r{i}.{name}"} | window for name in names if name not in rooms[-1]["open"]]
    return Scene.model_validate({"room": rooms, "opening": openings})


def test_templates_in_the_time_of_a_frame(figures, seconds):
    """30 walls as PDF, SVG and DXF take at most as long as one hazed frame of 960 x 540."""
    scene = thirty_walls()
    room, view = plain_room(), view_across(960, 540)
    lit = light_set(room, build_set(room, folder=None))

    def templates():
        pieces = pieces_of(scene)
        assert len(pieces) == WALLS
        pdf = templates_pdf("thirty walls", 12, pieces)
        return pdf, [(template_svg("P", piece), template_dxf("P", piece)) for piece in pieces]

    templates_s, frame_s = seconds(templates, lambda: hazed_frame(lit, view), times=3)
    figures.keep("templates", walls=WALLS, templates_s=templates_s, frame_s=frame_s, share=templates_s / frame_s)
    assert templates_s <= frame_s
