"""The layout keeps its promises: data flows one way, names say something, the documents are complete."""

import ast
import re
import subprocess
from pathlib import Path

import pytest

from previz.scene import model

ROOT = Path(__file__).parents[1]
ROWS = ["scene", "build", "light", "haze", "rays", "camera", "rig", "frames", "check", "aim", "sheets", "bench"]
MODULES = sorted((ROOT / "previz").rglob("*.py"))
TOP_LEVEL = {"README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", "requirements.lock", "previz", "scenes", "tests", "renders"}


def imported(path):
    """Return the full names of what a module imports from previz."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module and node.module.split(".")[0] == "previz":
            yield node.module
            yield from (f"{node.module}.{alias.name}" for alias in node.names)
        elif isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names if alias.name.split(".")[0] == "previz")


def row(name):
    """Return the place of a module in the pipeline by its full name; the verbs come last."""
    parts = name.split(".")
    return ROWS.index(parts[1]) if len(parts) > 1 and parts[1] in ROWS else len(ROWS)


class TestRows:
    """A module imports from its own row and from earlier ones."""

    @pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(ROOT)))
    def test_imports_go_one_way(self, path):
        """Upstream knows nothing of downstream."""
        own = row(".".join(path.relative_to(ROOT).with_suffix("").parts))
        later = {name for name in imported(path) if name.count(".") and (ROOT / "previz" / name.split(".")[1]).exists() and row(name) > own}
        assert later == set()

    @pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(ROOT)))
    def test_a_module_says_what_it_is(self, path):
        """Every header is a docstring, and no name is a drawer for odds and ends."""
        assert ast.get_docstring(ast.parse(path.read_text(encoding="utf-8")))
        assert path.stem not in {"utils", "helpers", "common", "misc", "util", "helper"}

    @pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(ROOT)))
    def test_a_module_is_one_idea(self, path):
        """Split by idea before 600 lines."""
        assert len(path.read_text(encoding="utf-8").splitlines()) < 600


class TestTopLevel:
    """What a visitor sees first."""

    def test_nothing_else_lies_at_the_top(self):
        """Documents, package, scenes, tests, renders and dot files."""
        listed = subprocess.run(["git", "-C", str(ROOT), "ls-files"], capture_output=True, text=True)
        if listed.returncode:
            pytest.skip("not a git checkout, so there is no list of the project's files")
        names = {line.split("/")[0] for line in listed.stdout.splitlines()}
        assert {name for name in names if not name.startswith(".")} <= TOP_LEVEL


def tables():
    """Return (heading, table class) of everything that a maker may type."""
    named = [("top level", model.Scene), ("[[room]]", model.Room), ("[[opening]]", model.Opening), ("[mesh]", model.SetMesh), ("[finish.NAME]", model.Finish)]
    named += [("[haze]", model.Haze), ("[body]", model.Body), ("[lens]", model.Lens), ("[slider]", model.Slider), ("[[shot]]", model.Shot)]
    named += [("[[prop]]", cls) for cls in model.PROP_KINDS.values()] + [("[[lamp]]", cls) for cls in model.LAMP_KINDS.values()]
    return named


KEYS = sorted({(heading, field.alias or name) for heading, cls in tables() for name, field in cls.model_fields.items()})


class TestDocuments:
    """What can be typed is written down."""

    @pytest.mark.parametrize("heading, key", KEYS)
    def test_every_key_is_in_the_table_of_keys(self, heading, key):
        """DEVELOPERS.md has a section for each table and a row for each key."""
        text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
        section = re.search(rf"^### `{re.escape(heading)}`\n(.*?)(?=^##)", text, re.M | re.S) if heading != "top level" else re.search(r"^### Top level\n(.*?)(?=^##)", text, re.M | re.S)
        assert section, f"no section for {heading}"
        assert re.search(rf"^\| `{re.escape(key)}` \|", section.group(1), re.M), f"no row for {key} of {heading}"

    @pytest.mark.parametrize("path", sorted((ROOT / "scenes").glob("*.toml")), ids=lambda path: path.stem)
    def test_every_demo_set_is_in_the_readme(self, path):
        """A set that nobody is told of is not shown."""
        assert f"scenes/{path.name}" in (ROOT / "README.md").read_text(encoding="utf-8")

    def test_every_verb_is_in_the_readme(self):
        """Nothing to be found out by chance."""
        from previz.cli import app

        text = (ROOT / "README.md").read_text(encoding="utf-8")
        for command in app.registered_commands:
            assert f"previz {command.callback.__name__}" in text

    def test_pictures_of_the_readme_are_there(self):
        """No broken pictures."""
        for link in re.findall(r"!\[[^]]*\]\(([^)]+)\)", (ROOT / "README.md").read_text(encoding="utf-8")):
            assert (ROOT / link).is_file(), link
