"""Drawings on the page: things are taken hold of in plan, section, wall and strip, and the file says where they went."""

import math
import re

import pytest

AT = "lamp/key/at"


def grip(page, paper: str, name: str):
    """The mark of a thing on a paper."""
    return page.locator(f'#paper-{paper} [data-grip="{name}"]')


def middle(found) -> tuple[float, float]:
    box = found.bounding_box()
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def mm_per_px(page, paper: str) -> float:
    """Of a drawing, from the matrix that lays millimetres on the sheet."""
    matrix = page.locator(f"#paper-{paper} .sheet-svg > g").first.get_attribute("transform")
    return 1 / float(re.match(r"matrix\(([\d.]+)", matrix)[1])


def drawn(page, paper: str, name: str) -> str:
    return page.locator(f"#paper-{paper} path.{name}").first.get_attribute("d")


@pytest.fixture(scope="module")
def bench(served):
    """The server of this module; no page of it may have asked another machine, or have failed."""
    yield served
    assert served.left == [] and served.wrong == []


@pytest.fixture(scope="module")
def page(bench):
    """One page on the room, that of a laptop with a touch screen; each test finds it as the one before left it."""
    page = bench.open(1000, 760, wait=False, has_touch=True)
    page.wait_for_selector(f'#paper-plan [data-grip="{AT}"]')
    return page


def test_a_lamp_dragged_in_the_plan_moves_its_shafts_at_once_and_the_file_on_release(page, bench, waiting):
    page.click("#paper-plan >> text=All")
    page.wait_for_selector("#paper-plan path.shaft[d^=M]", state="attached")
    rev, before, shaft = waiting.revision(page), list(bench.read()["lamp"][0]["at"]), drawn(page, "plan", "shaft")
    step, (x, y) = mm_per_px(page, "plan"), middle(grip(page, "plan", AT))
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 5, y - 30, steps=3)
    page.mouse.move(x + 9, y - 47, steps=3)
    page.wait_for_function("([shaft]) => document.querySelector('#paper-plan path.shaft')?.getAttribute('d') !== shaft", arg=[shaft])
    assert "Lamp key" in page.inner_text("#paper-plan .readout")
    assert list(bench.read()["lamp"][0]["at"]) == before
    page.mouse.up()
    waiting.settled(page, rev)
    at = bench.read()["lamp"][0]["at"]
    assert at[0] == pytest.approx(before[0] + 9 * step, abs=1.01 + 7 * step) and at[1] == pytest.approx(before[1] + 47 * step, abs=1.01 + 7 * step)
    assert at[2] == before[2] and all(value == int(value) for value in at)
    assert "# on the tall stand" in bench.scene.read_text()


def test_a_finger_lifts_the_lamp_in_the_section(page, bench, waiting):
    page.click("#paper-section >> text=All")
    rev, before, step = waiting.revision(page), list(bench.read()["lamp"][0]["at"]), mm_per_px(page, "section")
    found = grip(page, "section", AT)
    found.scroll_into_view_if_needed()
    x, y = middle(found)
    touch = page.context.new_cdp_session(page)
    # a fingertip beside the mark takes it all the same
    for kind, points in (("touchStart", [(x + 8, y + 8)]), *(("touchMove", [(x + 8, y + 8 - 6 * i)]) for i in range(1, 6)), ("touchEnd", [])):
        touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": [{"x": px, "y": py} for px, py in points]})
    waiting.settled(page, rev)
    at = bench.read()["lamp"][0]["at"]
    assert at[2] == pytest.approx(before[2] + 30 * step, abs=1.01 + 7 * step) and at[1] == pytest.approx(before[1], abs=1.01 + 7 * step)


def test_keys_move_a_lamp_by_steps_and_escape_takes_them_back(page, bench, waiting):
    rev, before = waiting.revision(page), list(bench.read()["lamp"][0]["at"])
    found = grip(page, "plan", AT)
    found.focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Escape")
    for key in ("ArrowLeft", "Shift+ArrowUp", "PageUp"):
        page.keyboard.press(key)
    waiting.settled(page, rev)
    now = [before[0] - 1, before[1] + 10, before[2] + 1]
    assert list(bench.read()["lamp"][0]["at"]) == now
    assert waiting.revision(page) == rev + 1
    page.wait_for_function("([words]) => document.querySelector('#paper-plan [data-grip=\"lamp/key/at\"]').getAttribute('aria-label').includes(words)", arg=[f"x {now[0]:,}, y {now[1]:,}, {now[2]:,} mm high"])


def test_an_opening_is_sized_on_its_wall_with_snapping(page, bench, waiting):
    page.select_option("#paper-wall select", "room.east")
    grip(page, "wall", "window/at").click()
    rev, step = waiting.revision(page), mm_per_px(page, "wall")
    edge = grip(page, "wall", "window/0,1")
    edge.scroll_into_view_if_needed()
    x, y = middle(edge)
    # from 60 to 120 mm up it stands evenly about the middle of the height; the drag ends 3 pixels off that
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 2, y + 20, steps=2)
    page.mouse.move(x + 2, y + (150 - 120) / step - 3, steps=4)
    page.wait_for_selector("#paper-wall path.guide", state="attached")
    assert "middle of the height" in page.inner_text("#paper-wall .readout")
    page.mouse.up()
    waiting.settled(page, rev)
    opening = bench.read()["opening"][0]
    assert opening["at"] == [60, 60] and opening["size"] == [80, 60] and 3 * step > 1


def test_what_the_scene_does_not_take_is_said_beside_the_wall(page, bench, waiting):
    page.select_option("#paper-wall select", "room.east")
    grip(page, "wall", "window/at").click()
    before = bench.scene.read_text()
    field = page.locator("#paper-wall .opening-fields label", has_text="along").locator("input")
    field.fill("190")
    field.press("Enter")
    page.wait_for_selector("#paper-wall .refused:not([hidden])")
    assert "wall" in page.inner_text("#paper-wall .refused")
    assert bench.scene.read_text() == before


def test_openings_are_added_and_taken_away(page, bench, waiting):
    page.select_option("#paper-wall select", "room.north")
    rev = waiting.revision(page)
    page.click("#paper-wall >> text=Add opening")
    rev = waiting.settled(page, rev)
    assert [(row["name"], row["wall"]) for row in bench.read()["opening"]] == [("window", "room.east"), ("opening 1", "room.north")]
    page.wait_for_selector('#paper-wall [data-grip="opening 1/at"]')
    page.click("#paper-wall >> text=Take away")
    waiting.settled(page, rev)
    assert [row["name"] for row in bench.read()["opening"]] == ["window"]


def test_a_lens_is_turned_by_hand_and_by_keys(page, bench, waiting):
    """The plan turns the pan: a drag snaps onto the middle of what the shot looks past, as the two lie; the section tilts, a degree a press."""
    shot = bench.read()["shot"][0]
    rev, (lens, pan) = waiting.revision(page), (shot["from"], grip(page, "plan", "shot/past the table/look/pan"))
    page.click("#paper-plan >> text=Fit")
    pan.scroll_into_view_if_needed()
    (x, y), step = middle(pan), mm_per_px(page, "plan")
    table = math.degrees(math.atan2(100 - lens[1], 150 - lens[0]))
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 130 * math.tan(math.radians(90 - table)) / step + 2, y, steps=5)
    page.wait_for_selector("#paper-plan path.guide", state="attached")
    assert "straight at table" in page.inner_text("#paper-plan .readout")
    page.mouse.up()
    rev = waiting.settled(page, rev)
    assert bench.read()["shot"][0]["look"] == {"pan": round(table, 1), "tilt": -10}
    grip(page, "section", "shot/past the table/look/tilt").focus()
    for key in ("ArrowUp", "ArrowUp", "Alt+ArrowDown"):
        page.keyboard.press(key)
    waiting.settled(page, rev)
    assert bench.read()["shot"][0]["look"] == {"pan": round(table, 1), "tilt": -8.1}


def test_a_shot_is_chosen_and_its_own_lamp_is_moved(page, bench, waiting):
    """The section goes through that shot; its lamp stands where that shot has it, and is moved for that shot alone."""
    rev, text = waiting.revision(page), bench.scene.read_text()
    bench.scene.write_text(text + '\n[[shot]]\nname = "across"\nmove = "still"\nfrom = [20, 60, 60]\nlook = { pan = 0 }\nfocus = [150, 60, 60]\nlamps = { key = { at = [850, 60, 500] } } # lower\n')
    rev = waiting.settled(page, rev)
    assert "past the table" in page.inner_text("#paper-section .readout")
    page.select_option("#shot", "across")
    found = grip(page, "plan", "shot/across/lamps/key/at")
    found.wait_for()
    waiting.until(page, "() => document.querySelector('#paper-section .readout').textContent === 'Cut upright at y 60 mm for “across”'")
    base = list(bench.read()["lamp"][0]["at"])
    found.focus()
    page.keyboard.press("Shift+ArrowRight")
    waiting.settled(page, rev)
    assert list(bench.read()["shot"][1]["lamps"]["key"]["at"]) == [860, 60, 500] and list(bench.read()["lamp"][0]["at"]) == base
    assert "# lower" in bench.scene.read_text()
    page.select_option("#shot", "past the table")
    grip(page, "plan", AT).wait_for()


def test_the_take_is_scrubbed_by_hand_and_by_keys(page):
    strip = page.locator("#paper-time [role=slider]")
    strip.scroll_into_view_if_needed()
    box = strip.bounding_box()
    page.mouse.move(box["x"] + box["width"] * 0.3, box["y"] + 40)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] * 0.6, box["y"] + 40, steps=3)
    page.mouse.up()
    now = float(strip.get_attribute("aria-valuenow"))
    assert 0.15 < now < 0.3
    strip.press("ArrowRight")
    assert float(strip.get_attribute("aria-valuenow")) == pytest.approx(now + 1 / 120, abs=1e-3)
    strip.press("End")
    assert float(strip.get_attribute("aria-valuenow")) == pytest.approx(0.4)
    assert "2.0 s on screen" in strip.get_attribute("aria-valuetext")
