"""The page in a real browser: a change shows at once and is in the file; two devices; questions; keyboard; rules of accessibility."""

import gzip
import io

import pytest
import trimesh
from PIL import Image

from previz.bench.app import PAGE

MOST_SCRIPT = 1_500_000
SERIOUS = ("serious", "critical")
WCAG = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]


def field(page, key, place=0):
    """Return the input of a key of the chosen thing."""
    return page.locator(f'[data-at="{key}.{place}"]')


def choose(page, table, name):
    """Choose a thing by the picker of its paper."""
    page.locator("#paper-the-thing select").first.select_option(label=name)


LAMP = '#paper-plan [data-grip="lamp/key/at"]'


def take_lamp(page, *by):
    """Take the lamp on the plan and move it so many pixels; it is not let go."""
    page.locator(LAMP).scroll_into_view_if_needed()
    box = page.locator(LAMP).bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + by[0], y + by[1], steps=3)


def shafts(page):
    """The shafts on the plan, as they are drawn."""
    return page.locator("#paper-plan path.shaft").first.get_attribute("d")


@pytest.fixture(scope="module")
def bench(served):
    """The server of this module; no page of it may have asked another machine, or have failed."""
    yield served
    assert served.left == [] and served.wrong == []


@pytest.fixture(scope="module")
def page(bench):
    """One page, on a small screen so that its pictures are small; each test finds it as the one before left it."""
    return bench.open(820, 700)


@pytest.fixture(scope="module")
def other(page, bench):
    """A second device, whose connection can be cut; it comes when the first is there."""
    return bench.open(820, 700, breakable=True)


class TestAPageThatOpens:
    """From the link in the terminal to light on the screen."""

    def test_it_shows_light_through_the_lens(self, page, waiting):
        """A picture with something bright and something dark in it, fine after a while."""
        page.wait_for_selector('.through-lens[data-grade="fine"]')
        shades = page.evaluate(
            """async () => {
                const image = document.querySelector(".through-lens img");
                const canvas = new OffscreenCanvas(64, 36);
                const paper = canvas.getContext("2d");
                paper.drawImage(image, 0, 0, 64, 36);
                const { data } = paper.getImageData(0, 0, 64, 36);
                const grey = [...data].filter((_, index) => index % 4 === 1);
                return [Math.min(...grey), Math.max(...grey)];
            }"""
        )
        assert shades[0] < 60 and shades[1] > 120

    def test_the_code_is_out_of_the_address(self, page, bench):
        """Nothing in it opens the bench again."""
        assert page.url == f"{bench.address}/"

    def test_findings_point_at_what_they_mean(self, page, waiting):
        """Pressing a sentence goes to its moment and chooses its thing."""
        page.wait_for_selector(".findings button.sentence .points")
        sentence = page.locator("button.sentence", has_text="table").first
        sentence.click()
        assert page.locator("#paper-the-thing select").first.evaluate("select => select.value") == '["prop","table"]'

    def test_script_is_small(self, page):
        """All of it, what is loaded later too."""
        packed = sum(len(gzip.compress(path.read_bytes(), 6)) for path in (PAGE / "assets").glob("*.js"))
        assert packed <= MOST_SCRIPT

    def test_script_comes_compressed(self, page, bench):
        """The server packs what the browser asks for."""
        name = next((PAGE / "assets").glob("index-*.js")).name
        assert page.request.get(f"{bench.address}/assets/{name}").headers["content-encoding"] == "gzip"


class TestChanges:
    """What is typed is tried at once, then in the file with the maker's comments, and can be taken back."""

    def test_a_key_that_is_typed_moves_the_light(self, page, bench, waiting):
        """Another picture, and the new place in the file."""
        choose(page, "lamp", "key")
        before, picture = waiting.revision(page), page.get_attribute(".through-lens", "data-n")
        field(page, "at", 2).fill("450")
        field(page, "at", 2).press("Enter")
        waiting.settled(page, before)
        waiting.until(page, "before => Number(document.querySelector('.through-lens').dataset.n) > before && document.querySelector('.through-lens').dataset.rev === document.documentElement.dataset.rev", int(picture))
        assert bench.read()["lamp"][0]["at"] == [900, 100, 450]
        assert "# on the tall stand" in bench.scene.read_text()
        after = waiting.revision(page)
        page.locator("#paper-lens").focus()
        page.keyboard.press("Control+z")
        waiting.settled(page, after)
        assert bench.read()["lamp"][0]["at"] == [900, 100, 600]

    def test_what_cannot_be_is_said_where_it_was_typed(self, page, bench, waiting):
        """And the file stays as it was."""
        choose(page, "lamp", "key")
        text = bench.scene.read_text()
        field(page, "lux_at_1m").fill("-5")
        field(page, "lux_at_1m").press("Enter")
        fault = page.locator('[data-key="lux_at_1m"] .fault')
        waiting.until(page, "() => document.querySelector('[data-key=\"lux_at_1m\"] .fault').textContent")
        assert "lux" in fault.text_content()
        assert bench.scene.read_text() == text

    def test_the_history_leads_back(self, page, bench, waiting):
        """Each revision has a button, and so has the file as it was found."""
        choose(page, "prop", "table")
        before = waiting.revision(page)
        text = bench.scene.read_text()
        field(page, "at", 0).fill("140")
        field(page, "at", 0).press("Enter")
        changed = waiting.settled(page, before)
        page.get_by_role("button", name="Go back to: As the bench found the file", exact=False).wait_for()
        page.get_by_role("button", name="Go back to", exact=False).first.click()
        waiting.settled(page, changed)
        assert bench.scene.read_text() == text


class TestJobs:
    """What the command line can do, by button."""

    def test_a_wrong_option_is_said_beside_its_field(self, page, waiting):
        """In the server's words, and the field is gone to."""
        card = page.locator("details.card", has_text="An opening to cut")
        card.locator("summary").click()
        card.get_by_label("where the light shall land").fill("room.floor@100,100")
        patch = card.get_by_label("patch there", exact=False)
        patch.fill("60")
        card.get_by_role("button", name="Ask").click()
        waiting.until(page, "() => document.querySelector('#an-opening-to-cut-patch-fault').textContent")
        assert "like 60x45" in card.locator("#an-opening-to-cut-patch-fault").text_content()
        assert patch.get_attribute("aria-invalid") == "true" and patch.evaluate("input => input === document.activeElement")
        page.evaluate("() => { document.querySelector('#an-opening-to-cut-patch').value = ''; }")

    def test_an_answer_goes_into_the_file(self, page, bench, waiting):
        """The lamp stands where aim says, the maker's comment stays, and Undo takes it back."""
        card = page.locator("details.card", has_text="Aim a lamp")
        card.locator("summary").click()
        card.get_by_role("button", name="Ask").click()
        into = page.get_by_role("button", name="Put it into the file")
        into.wait_for()
        assert page.locator(".jobs .told").first.text_content().startswith("key: window > table")
        before, was = waiting.revision(page), bench.read()["lamp"][0]["at"]
        into.click()
        after = waiting.settled(page, before)
        assert bench.read()["lamp"][0]["at"] != was and "# on the tall stand" in bench.scene.read_text()
        page.get_by_role("button", name="Undo", exact=True).click()
        waiting.settled(page, after)
        assert bench.read()["lamp"][0]["at"] == was


class TestFiles:
    """What is on this device is put beside the scene file, and into the set."""

    def test_a_mesh_stands_in_the_set(self, page, bench, waiting):
        """Sent, told by what it is, and a prop of the file in the middle of the set; undo takes it away again."""
        before, text = waiting.revision(page), bench.scene.read_text()
        page.set_input_files("#bring-mesh", {"name": "old crate.stl", "mimeType": "model/stl", "buffer": trimesh.creation.box((40, 30, 20)).export(file_type="stl")})
        page.click("#paper-files >> text=Stand it in the set")
        rev = waiting.settled(page, before)
        prop = bench.read()["prop"][-1]
        assert (prop["name"], prop["kind"], prop["file"]) == ("old-crate", "mesh", "old-crate.stl") and prop["at"][2] == 0
        assert (bench.scene.parent / prop["file"]).is_file()
        page.get_by_role("button", name="Undo", exact=True).click()
        # The mesh may be noticed as a new file meanwhile, which is a revision too.
        waiting.until(page, "() => ![...document.querySelectorAll('#paper-the-thing option')].some(one => one.textContent === 'old-crate')")
        waiting.settled(page, rev)
        assert bench.scene.read_text() == text

    def test_a_photo_is_told_how_to_be_used_and_what_is_none_is_refused(self, page, bench):
        """In words, with nothing left beside the scene."""
        paper = page.locator("#paper-files")
        page.set_input_files("#bring-photo", {"name": "bench.jpg", "mimeType": "image/jpeg", "buffer": b"no picture"})
        paper.get_by_text("This is not a PNG or JPEG picture. Save it as one and send it again.").wait_for()
        assert not (bench.scene.parent / "bench.jpg").exists()
        picture = io.BytesIO()
        Image.new("RGB", (60, 40), (90, 80, 70)).save(picture, "JPEG")
        page.set_input_files("#bring-photo", {"name": "bench.jpg", "mimeType": "image/jpeg", "buffer": picture.getvalue()})
        paper.get_by_text("previz asshot room.toml --photo bench.jpg --points points.toml").wait_for()
        assert (bench.scene.parent / "bench.jpg").read_bytes() == picture.getvalue()


class TestTwoDevices:
    """They see each other's changes, and are asked where they clash."""

    def test_one_sees_what_the_other_does(self, page, other, waiting):
        """Within a moment, without a reload."""
        choose(page, "lamp", "key")
        choose(other, "lamp", "key")
        before = waiting.revision(other)
        field(page, "at", 0).fill("850")
        field(page, "at", 0).press("Enter")
        waiting.settled(other, before)
        waiting.until(other, "() => document.querySelector('[data-at=\"at.0\"]').value === '850'")

    def test_both_drag_one_lamp(self, page, other, bench, waiting):
        """The one that watches sees shafts and lamp follow the other's hand; who lets go last, of what the other has moved meanwhile, is asked."""
        for one in (page, other):
            one.click("#paper-plan >> text=All")
        shaft, before, place = shafts(other), waiting.revision(other), bench.read()["lamp"][0]["at"]
        take_lamp(page, 8, -30)
        waiting.until(other, "shaft => document.querySelector('#paper-plan path.shaft').getAttribute('d') !== shaft", shaft)
        assert f"y {place[1]}," not in other.get_attribute(LAMP, "aria-label")
        take_lamp(other, -25, 10)
        page.mouse.up()
        waiting.settled(other, before)
        first = waiting.settled(page, before)
        theirs = list(bench.read()["lamp"][0]["at"])
        other.mouse.up()
        question = other.locator("dialog[open]")
        question.wait_for()
        assert f"theirs: x {theirs[0]}, y {theirs[1]}, {theirs[2]} mm high" in question.text_content()
        question.get_by_role("button", name="Keep these").click()
        question.wait_for(state="hidden")
        waiting.until(other, "says => document.querySelector('#paper-plan [data-grip=\"lamp/key/at\"]').getAttribute('aria-label').includes(says)", f"x {theirs[0]}, y {theirs[1]},")
        assert waiting.revision(other) == first and list(bench.read()["lamp"][0]["at"]) == theirs

    def test_the_file_broken_by_hand_and_put_right(self, page, other, bench, waiting):
        """Both are told where, nothing goes into the file meanwhile, and it goes on when it is sound."""
        text, before = bench.scene.read_text(), waiting.revision(page)
        broken = text.replace("height = 180", "height = tall")
        bench.scene.write_text(broken)
        for one in (page, other):
            one.wait_for_selector(".notice:not([hidden])")
            assert "Line 9" in one.inner_text(".notice") and one.inner_text(".kept") == "room.toml has faults"
        take_lamp(page, 10, 10)
        page.mouse.up()
        page.wait_for_selector("#paper-plan .refused:not([hidden])")
        assert bench.scene.read_text() == broken
        bench.scene.write_text(text)
        for one in (page, other):
            one.wait_for_selector(".notice", state="hidden")
            waiting.settled(one, before)

    def test_a_clash_is_asked_about(self, page, other, bench, waiting):
        """Cut off for a while, both change the same key: the one that comes back is asked, and its answer counts."""
        bench.cut_off(other)
        other.wait_for_selector(".kept.away")
        before = waiting.revision(page)
        field(other, "at", 1).fill("120")
        field(other, "at", 1).press("Enter")
        field(page, "at", 1).fill("80")
        field(page, "at", 1).press("Enter")
        between = waiting.settled(page, before)
        bench.let_back(other)
        question = other.locator("dialog[open]")
        question.wait_for()
        assert "80" in question.text_content() and "120" in question.text_content()
        question.get_by_label("mine", exact=False).check()
        question.get_by_role("button", name="Keep these").click()
        waiting.settled(page, between)
        assert bench.read()["lamp"][0]["at"][1] == 120


class TestKeyboard:
    """Everything can be reached and used without a pointer."""

    def test_tab_comes_to_marks_alone_and_shows_them(self, page, waiting):
        """What Tab reaches on a drawing has a name, and lies on the paper when it is reached."""
        page.locator("#paper-plan .sheet-svg").focus()
        for _ in range(4):
            page.keyboard.press("Tab")
            name, inside = page.evaluate(
                """() => {
                    const mark = document.activeElement, [at, paper] = [mark.getBoundingClientRect(), mark.closest("svg").getBoundingClientRect()];
                    const [x, y] = [at.x + at.width / 2, at.y + at.height / 2];
                    return [mark.getAttribute("aria-label"), x > paper.left && x < paper.right && y > paper.top && y < paper.bottom];
                }"""
            )
            assert name and inside


class TestRules:
    """The rules of WCAG 2.2 that a program can check (axe-core), and nothing wider than the screen."""

    @pytest.mark.parametrize("width, height, scheme", [(390, 844, "light"), (1024, 768, "dark"), (1920, 1080, "light")])
    def test_no_serious_findings(self, page, width, height, scheme):
        """At the widths of a phone, a tablet and a desk, by day and in the evening, with all that folds unfolded."""
        from axe_playwright_python.sync_playwright import Axe

        page.set_viewport_size({"width": width, "height": height})
        page.emulate_media(color_scheme=scheme)
        page.locator("details").evaluate_all("all => all.forEach(one => { one.open = true; })")
        told = Axe().run(page, options={"runOnly": WCAG}).response["violations"]
        assert [(one["id"], node["target"], node["html"]) for one in told if one["impact"] in SERIOUS for node in one["nodes"]] == []

    @pytest.mark.parametrize("width", [320, 390, 1024, 3840])
    def test_nothing_is_wider_than_the_screen(self, page, waiting, width):
        """From a small phone to a large screen."""
        page.set_viewport_size({"width": width, "height": 800})
        waiting.until(page, "width => innerWidth === width && document.documentElement.scrollWidth <= document.documentElement.clientWidth", width)
