"""
The verbs of the command line: what is typed, handed on; what goes wrong, said in plain words.

Data goes to standard output, progress and faults to standard error. Exit codes: 0 done; 1 done, and a finding says
stop; 2 the file or the options are wrong; 3 something outside failed; 130 interrupted.
Each verb imports what it needs, so that help and `new` answer at once.
"""

from __future__ import annotations

import os
import sys
import traceback
from pathlib import Path
from typing import Annotated, Optional

import typer

from previz import __version__
from previz.interrupted import interrupted
from previz.options import Output, Proxy, Quality, ScenePath, ShotName, Size, Workers, checked_workers, moment, option, picture_size, usage_fault
from previz.scene.faults import OptionFault, OutsideFault, PrevizError

DONE, SAYS_STOP, OWN_FAULT, INTERRUPTED = 0, 1, 70, 130

app = typer.Typer(
    name="previz",
    epilog="Begin with: previz new my-set.toml",
    rich_markup_mode=None,
    add_completion=False,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80},
)


def _say_version(wanted: bool) -> None:
    if wanted:
        print(__version__)
        raise typer.Exit()


@app.callback()
def options(version: Annotated[bool, typer.Option("--version", help="Print the version and leave.", is_eager=True, callback=_say_version)] = False):
    """Where the light lands, whether its shafts show, and whether the lens fits: a miniature set, before it is cut."""


@app.command(epilog="Example: previz new my-set.toml")
def new(file: Annotated[Path, typer.Argument(metavar="[FILE]", help="The file to write, by default my-set.toml.", show_default=False)] = Path("my-set.toml")):
    """Write a commented scene file to start from."""
    from previz.check.folder import write_text
    from previz.scene.starter import STARTER

    if file.exists() or file.is_symlink():
        raise OptionFault(f"{file} is there already, and previz new writes over nothing", "Give another name: previz new another-set.toml")
    write_text(file, STARTER)
    print(file)
    print(f"Next: previz check {file}", file=sys.stderr)


@app.command(epilog="Example: previz kit scenes --json")
def kit(
    place: Annotated[Path, typer.Argument(metavar="[PLACE]", help="A scene file or a folder of them, by default this folder.", show_default=False)] = Path("."),
    json: Annotated[bool, typer.Option("--json", help="The list as JSON, for a program to read.")] = False,
):
    """The kit that a scene can name, with its figures."""
    from previz.check.report import report_json
    from previz.scene.catalogue import catalogue, catalogue_text

    if not place.exists():
        raise OptionFault(f"{place}: there is no such file or folder", "Give a scene file, or the folder that it is in.")
    entries = catalogue(place if place.is_dir() else place.parent)
    sys.stdout.write(report_json({"schema": 1, "kit": entries}) if json else catalogue_text(entries))


@app.command(epilog="Example: previz check scenes/clockmakers-attic.toml --json -o attic.json")
def check(
    scene: ScenePath,
    json: Annotated[bool, typer.Option("--json", help="The report as JSON, for a program to read.")] = False,
    output: Output = None,
    workers: Workers = None,
):
    """Every figure and finding, without pictures."""
    from previz.check.folder import write_text
    from previz.check.report import report, report_json
    from previz.check.study import study_set
    from previz.check.text import report_text
    from previz.progress import watched

    with watched() as watch:
        figures = report(study_set(_lit(scene, workers, watch), workers=workers, watch=watch))
    text = report_json(figures) if json else report_text(figures)
    if output is None:
        sys.stdout.write(text)
    else:
        write_text(output, text)
        print(output)
    return _verdict(figures)


@app.command(epilog="Example: previz frame scenes/clockmakers-attic.toml --at 2.5 -o attic.png")
def frame(
    scene: ScenePath,
    shot: ShotName = None,
    at: Annotated[Optional[float], option("--at", "SECONDS", "Moment of the clip, in screen seconds; default its middle.")] = None,
    take: Annotated[Optional[float], option("--take", "SECONDS", "Moment of the take instead, in real seconds.")] = None,
    size: Size = "960x540",
    quality: Annotated[Quality, typer.Option("--quality", help="draft is quick and grainy, fine is slow and smooth.")] = Quality.good,
    proxy: Proxy = False,
    linear: Annotated[Optional[Path], option("--linear", "FILE", "Write luminance in cd/m2 too, as .npy or .exr.")] = None,
    layers: Annotated[Optional[Path], option("--layers", "FILE", "Write the light of each lamp apart too, as .exr.")] = None,
    mix: Annotated[Optional[str], option("--mix", "LAMP=LEVEL,...", "Other levels of the lamps (also haze=, exposure=), from stored layers.")] = None,
    chart: Annotated[bool, typer.Option("--chart", help="Luminance in stops about middle grey instead, with a scale.")] = False,
    noise: Annotated[bool, typer.Option("--noise", help="With noise as ISO brings it: an illustration, of a sensor of round figures.")] = False,
    output: Output = None,
    workers: Workers = None,
):
    """One picture through the lens; SCENE may be a layers file when lamps are mixed anew."""
    from previz.camera.noise import SAID
    from previz.check.folder import default_folder, file_stem
    from previz.frames.linear import linear_kind, write_linear
    from previz.frames.picture import picture_kind, write_picture
    from previz.frames.still import grain_of
    from previz.progress import watched

    if noise and (proxy or chart or layers is not None or mix is not None):
        raise OptionFault("--noise goes with none of --proxy, --chart, --layers and --mix", "Leave them out; noise is shown on the plain picture.")
    if mix is not None or layers is not None:
        if proxy or chart or linear is not None:
            raise OptionFault("--layers and --mix go with none of --proxy, --chart and --linear", "Leave them out; a layers file holds the luminance too.")
        return _layered(scene, shot, at, take, picture_size(size), quality.value, layers, mix, output, workers)
    if chart and proxy:
        raise OptionFault("--chart and --proxy do not go together: plain shapes have no luminance", "Leave one of them out.")
    pixels = picture_size(size)
    if linear is not None and proxy:
        raise OptionFault("--linear and --proxy do not go together: plain shapes have no luminance", "Leave one of them out.")
    if linear is not None:
        linear_kind(linear)
    if output is not None:
        picture_kind(output)
    with watched() as watch:
        loaded, built, chosen = _shot(scene, shot, workers)
        moment_s = moment(chosen, at, take)
        if proxy:
            rgb = _proxy(loaded.scene, built, chosen, moment_s, pixels, workers)
        else:
            picture = _hazed(loaded.scene, built, chosen, moment_s, pixels, quality.value, workers, watch)
            rgb = picture.chart(chosen.name) if chart else picture.grainy(grain_of(loaded.scene, pixels)) if noise else picture.rgb
    if linear is not None:
        write_linear(linear, picture.linear)
        print(linear)
    output = output or default_folder(scene) / f"{file_stem(chosen.name)}{'-proxy' if proxy else '-chart' if chart else '-noise' if noise else ''}-{moment_s * chosen.fps / chosen.playback:.2f}s.png"
    write_picture(output, rgb)
    print(output)
    if noise:
        print(f"{output}: {SAID}", file=sys.stderr)


def _layered(scene, shot, at, take, pixels, quality, layers, mix, output, workers) -> None:
    """Draw a picture with its layers, or read them where they are stored, and mix them."""
    from previz.check.folder import default_folder, file_stem
    from previz.frames.layers import layers_path, parsed_mix, read_layers, write_layers
    from previz.frames.picture import picture_kind, write_picture
    from previz.rays.papers import through
    from previz.scene.shots import scene_of

    if layers is not None:
        layers_path(layers)
    if output is not None:
        picture_kind(output)
    if scene.suffix.lower() == ".exr":
        if mix is None:
            raise OptionFault(f"{scene} is a layers file, and nothing says how to mix it", "Add --mix LAMP=LEVEL.")
        kept, beside = read_layers(scene), scene.with_suffix("")
    else:
        loaded, built, chosen = _shot(scene, shot, workers)
        moment_s = moment(chosen, at, take)
        beside = default_folder(scene) / f"{file_stem(chosen.name)}-{moment_s * chosen.fps / chosen.playback:.2f}s"
        if mix is not None:
            lamps = [lamp.name for lamp in scene_of(loaded.scene, chosen).lamp]
            parsed_mix(mix, (*lamps, *(through(lamp, paper) for lamp in lamps for paper in dict.fromkeys(p.opening for p in built.papers))))
        stored = layers or beside.with_name(f"{beside.name}-layers.exr")
        kept, fresh = _stored_layers(stored, loaded.scene, built, chosen, moment_s, pixels, quality, workers)
        if fresh:
            write_layers(stored, kept)
            print(stored)
    levels = parsed_mix(mix, kept.lamps) if mix is not None else {}
    output = output or beside.with_name(f"{beside.name}{'-mix' if mix is not None else ''}.png")
    write_picture(output, kept.developed(levels))
    print(output)


def _stored_layers(path, scene, built, shot, moment_s, pixels, quality, workers):
    """Return the layers in `path` where they are those of this very picture, else draw them; and whether they were drawn."""
    from previz.frames.layers import layered_still, read_layers
    from previz.frames.store import fingerprint
    from previz.frames.still import lit_at_roll
    from previz.progress import watched
    from previz.rays.lit import light_set
    from previz.rig.moves import plan_move

    mark = fingerprint(scene, shot, built, moment_s=moment_s, pixels=pixels, quality=quality)
    try:
        kept = read_layers(path)
        if kept.fingerprint == mark:
            return kept, False
    except OptionFault:
        pass  # Missing, or another program's: drawn anew.
    with watched() as watch:
        lit = lit_at_roll(light_set(scene, built, workers=workers, progress=watch("light")), shot)
        drawn = layered_still(lit, shot, plan_move(scene, shot, built), moment_s, pixels, quality=quality, fingerprint=mark, workers=workers, progress=watch("picture"))
    return drawn, True


def _proxy(scene, built, shot, moment_s, pixels, workers):
    from previz.camera.view import view_at
    from previz.frames.proxy import Proxies
    from previz.rays.tracer import Tracer
    from previz.rig.moves import plan_move

    move = plan_move(scene, shot, built)
    with Proxies(built, Tracer(built.vertices, built.triangles), workers=workers) as proxies:
        return proxies.frame(view_at(scene, move.poses(moment_s)[0], float(move.focus_mm(moment_s)[0]), pixels)).rgb


def _hazed(scene, built, shot, moment_s, pixels, quality, workers, watch):
    from previz.frames.still import lit_at_roll, still
    from previz.rays.lit import light_set
    from previz.rig.moves import plan_move

    lit = lit_at_roll(light_set(scene, built, workers=workers, progress=watch("light")), shot)
    return still(lit, shot, plan_move(scene, shot, built), moment_s, pixels, quality=quality, workers=workers, progress=watch("picture"))


@app.command(epilog="Example: previz reel scenes/clockmakers-attic.toml --size 640x360")
def reel(scene: ScenePath, shot: ShotName = None, size: Size = "480x270", proxy: Proxy = False, output: Output = None, workers: Workers = None):
    """The moving preview (MP4) at playback speed, and a contact sheet."""
    from previz.check.folder import default_folder, file_stem, outlines_of
    from previz.frames.reel import write_reel
    from previz.frames.still import lit_at_roll
    from previz.progress import watched
    from previz.rays.lit import light_set
    from previz.rig.moves import plan_move

    pixels = picture_size(size)
    if output is not None and output.suffix.lower() != ".mp4":
        raise OptionFault(f"{output}: a reel is an MP4 video, so its name must end in .mp4", "Name it like reel.mp4.")
    with watched() as watch:
        loaded, built, chosen = _shot(scene, shot, workers)
        # Plain shapes show no bounce light, so next to none of it is worked out for them.
        baked = {"texels": 100, "rays": 1} if proxy else {}
        lit = light_set(loaded.scene, built, workers=workers, progress=watch("light"), **baked)
        output = output or default_folder(scene) / f"{file_stem(chosen.name)}{'-proxy' if proxy else ''}.mp4"
        lit = lit_at_roll(lit, chosen)
        move = plan_move(loaded.scene, chosen, built)
        for path in write_reel(lit, chosen, move, output, size=pixels, proxy=proxy, outlines=outlines_of(lit), workers=workers, progress=watch("reel")):
            print(path)


@app.command(epilog="Example: previz make scenes/clockmakers-attic.toml")
def make(scene: ScenePath, size: Size = "960x540", output: Output = None, workers: Workers = None):
    """All of it into renders/SCENE/, with a page that shows it."""
    from previz.check.folder import default_folder, write_folder
    from previz.check.study import study_set
    from previz.progress import watched

    pixels = picture_size(size)
    with watched() as watch:
        lit, folder = _lit(scene, workers, watch), output or default_folder(scene)
        papers = _templates(lit.scene, folder)
        study = study_set(lit, workers=workers, watch=watch)
        papers = [*_day_papers(study, lit, folder, workers, watch), *papers]
        figures, written = write_folder(study, lit, folder, size=pixels, papers=papers, workers=workers, watch=watch)
    print(written)
    return _verdict(figures)


@app.command(epilog="Example: previz cut scenes/clockmakers-attic.toml --paper A3 --format pdf,dxf -o attic")
def cut(
    scene: ScenePath,
    output: Annotated[Optional[Path], option("-o --output", "PATH", "A folder, or a file that ends in .pdf.")] = None,
    paper: Annotated[str, typer.Option("--paper", metavar="NAME", help="A4, A3 or Letter.")] = "A4",
    measured: Annotated[float, typer.Option("--measured", metavar="MM", help="What the 100 mm bar of an earlier print measured.")] = 100.0,
    format: Annotated[str, typer.Option("--format", metavar="LIST", help="One or more of pdf, svg, dxf, with commas between.")] = "pdf",
):
    """Wall templates at 1:1, to cut by."""
    from previz.check.folder import default_folder
    from previz.sheets.cut import checked_measure, wanted_formats, write_templates

    formats, measured = wanted_formats(format), checked_measure(measured)
    loaded, _ = _loaded(scene, None)
    written, findings = write_templates(loaded.scene, output or default_folder(scene), paper=paper, measured=measured, formats=formats)
    for path in written:
        print(path)
    for finding in findings:
        print(f"{finding.about}: {finding.says}\n  {finding.remedy}", file=sys.stderr)


@app.command(epilog="Example: previz export scenes/clockmakers-attic.toml -o attic --only gltf,csv")
def export(
    scene: ScenePath,
    output: Annotated[Optional[Path], option("-o --output", "FOLDER", "A folder; default open-files beside the pictures.")] = None,
    only: Annotated[Optional[str], option("--only", "LIST", "One or more of gltf, usd, csv, json, patches, with commas between.")] = None,
    workers: Workers = None,
):
    """Set, lamps, moves and patches in open formats, for other programs."""
    from previz.check.folder import default_folder
    from previz.progress import watched
    from previz.rays.lit import light_set
    from previz.sheets.export import wanted_kinds, write_open_files

    kinds = wanted_kinds(only)
    with watched() as watch:
        loaded, built = _loaded(scene, workers)
        # Nothing here asks for bounce light, but readings of a meter do where they set a lamp's level.
        baked = {} if any(lamp.measured for lamp in loaded.scene.lamp) else {"texels": 100, "rays": 1}
        lit = light_set(loaded.scene, built, workers=workers, progress=watch("light"), **baked)
        for path in write_open_files(lit, output or default_folder(scene) / "open-files", kinds=kinds, tick=watch("files")):
            print(path)


@app.command(epilog='Example: previz aim scenes/clockmakers-attic.toml "round window > mantel clock" -o aimed.toml')
def aim(
    scene: ScenePath,
    wishes: Annotated[list[str], typer.Argument(metavar="WISH...", help='An opening, or one pane of it, and where its light shall land: "window[0,1] > table", "window > room.floor@120,80".', show_default=False)],
    dark: Annotated[Optional[list[str]], option("--dark", "TARGET", "What the lamp must not light; may be given again.")] = None,
    lamp: Annotated[Optional[str], option("--lamp", "NAME", "Which lamp; default the first.")] = None,
    shot: Annotated[Optional[str], option("--shot", "NAME", "The shot whose lens must not be in the way or see the lamp; default every shot.")] = None,
    answer: Annotated[int, typer.Option("--answer", metavar="N", help="Which answer to write.")] = 1,
    map: Annotated[Optional[Path], option("--map", "FILE", "Draw where the lamp may stand, from above, as .svg.")] = None,
    open: Annotated[Optional[str], option("--open", "WALL", "Find an opening to cut in this wall instead, for the lamp as it stands; WISH is then the target alone.")] = None,
    patch: Annotated[Optional[str], option("--patch", "WxL", "With --open: width and length of the patch there, mm.")] = None,
    shape: Annotated[str, typer.Option("--shape", metavar="SHAPE", help="With --open: rect, arch, lancet or round.")] = "rect",
    bars: Annotated[Optional[str], option("--bars", "CxR,WIDTH", "With --open: glazing bars, columns x rows, and their width in mm.")] = None,
    tolerance: Annotated[bool, typer.Option("--tolerance", help="Say instead how far lamp, cut, haze and rail may be off, as they are now.")] = False,
    within: Annotated[Optional[float], option("--within", "MM", "With --tolerance: how far the middle of the light may be off.")] = None,
    json: Annotated[bool, typer.Option("--json", help="The answers as JSON, for a program to read.")] = False,
    shafts: Annotated[Optional[int], option("--shafts", "N", "Search lamp and openings together for N shafts on a target; WISH is then the target alone.")] = None,
    free: Annotated[Optional[str], option("--free", "NAMES", "With --shafts: the openings that may be moved, with commas between; default all.")] = None,
    contrast: Annotated[float, typer.Option("--contrast", metavar="STOPS", help="With --shafts: how plain each shall be in the middle of the shot.")] = 0.1,
    output: Annotated[Optional[Path], option("-o --output", "PATH", "Write the scene with the answer in it, comments kept; with --shafts a folder, for a scene and a picture each.")] = None,
    workers: Workers = None,
):
    """Where the lamp must stand, or the opening be, for its light to land as wished."""
    from previz.aim.ask import ask_for_lamp, ask_for_opening
    from previz.asking import asked_layouts, asked_tolerance
    from previz.check.folder import write_text
    from previz.check.report import report_json

    loaded, built = _loaded(scene, workers)
    if within is not None and not tolerance:
        raise OptionFault("--within goes with --tolerance", "Add --tolerance.")
    if tolerance:
        if len(wishes) != 1 or dark or any(given is not None for given in (shafts, open, output, map)):
            raise OptionFault("--tolerance takes one wish, and none of --shafts, --open, --map, --dark and -o", 'Write it like "window > table" --tolerance.')
        return asked_tolerance(loaded, built, wishes[0], lamp, shot, within, json, workers)
    if shafts is not None:
        return DONE if asked_layouts(loaded, built, wishes, shafts, contrast, dark or [], free, lamp, shot, json, output, workers) else SAYS_STOP
    if map is not None and (open is not None or map.suffix.lower() != ".svg"):
        raise OptionFault(f"--map {map}: a map is an SVG file, and shows where a lamp may stand", "Name it like map.svg, and leave --open out.")
    if open is None:
        asked = ask_for_lamp(loaded, built, wishes, dark or [], lamp, shot)
        solved = bool(asked.found.answers)
        changed = asked.scene_with(answer) if output is not None and solved else None
    else:
        if len(wishes) != 1 or patch is None:
            raise OptionFault("--open takes one target and --patch", 'Write it like --open attic.east "attic.floor@150,120" --patch 60x45.')
        asked = ask_for_opening(loaded, built, open, wishes[0], patch, shape, bars, lamp)
        solved = not asked.values["obstacle"]
        changed = asked.scene_with() if output is not None and solved else None
    sys.stdout.write(report_json(asked.values) if json else asked.text)
    if map is not None:
        from previz.sheets.aimed import aim_map

        write_text(map, aim_map(asked, (297.0, 210.0)).svg())
        print(map, file=sys.stderr if json else sys.stdout)
    if changed is not None:
        write_text(output, changed)
        print(output, file=sys.stderr if json else sys.stdout)
    return DONE if solved else SAYS_STOP


@app.command(epilog='Example: previz explore scenes/clockmakers-attic.toml --vary "lamp.evening sun.at.z=800..1200:5" --best "contrast_stops max"')
def explore(
    scene: ScenePath,
    vary: Annotated[list[str], option("--vary", "KEY=a..b:n", "A key of the file and its values; may be given again. a..b is 5 values, a..b:9 is 9, or a,b,c.")],
    samples: Annotated[Optional[int], option("--samples", "N", "N variants spread evenly over all ranges (Latin hypercube) instead of every value with every other.")] = None,
    best: Annotated[Optional[list[str]], option("--best", "FIGURE max|min", 'What is wanted, like "contrast_stops max"; given again, variants are marked that no other beats in all.')] = None,
    shot: ShotName = None,
    size: Size = "480x270",
    quality: Annotated[Quality, typer.Option("--quality", help="draft is quick and grainy, fine is slow and smooth.")] = Quality.draft,
    cluster: Annotated[Optional[str], option("--cluster", "ADDRESS", "Work on a Dask cluster that runs already; its workers need previz and the same files.")] = None,
    json: Annotated[bool, typer.Option("--json", help="All variants as JSON, for a program to read.")] = False,
    output: Annotated[Optional[Path], option("-o --output", "FOLDER", "A folder; default explore beside the pictures. Run again, only what is missing is done.")] = None,
    workers: Workers = None,
):
    """Many variants of a scene, side by side: pictures, figures, the best."""
    if cluster is None:
        from previz.aim.processes import loading

        loading()
    from previz.aim.variant import Look
    from previz.asking import asked_variants
    from previz.check.folder import default_folder

    look = Look(shot, picture_size(size), quality.value)
    loaded, _ = _loaded(scene, workers)
    return SAYS_STOP if asked_variants(loaded, vary, samples, best or [], look, cluster, json, output or default_folder(scene) / "explore", workers) else DONE


@app.command(epilog="Example: previz asshot scenes/clockmakers-attic.toml --blank day.csv, and when it is filled in: --marks day.csv")
def asshot(
    scene: ScenePath,
    marks: Annotated[Optional[Path], option("--marks", "FILE", "What was measured on the day (CSV).")] = None,
    blank: Annotated[Optional[Path], option("--blank", "FILE", "Write an empty one instead, with all fields of this scene; as .toml one for --points.")] = None,
    photo: Annotated[Optional[Path], option("--photo", "FILE", "A photo of the set (JPEG or PNG): where camera and lamp really stand.")] = None,
    points: Annotated[Optional[Path], option("--points", "FILE", "With --photo: corners of set and patches that are marked in it (TOML).")] = None,
    shot: Annotated[Optional[str], option("--shot", "NAME", "With --photo: the shot whose lamps are alight; default the file's.")] = None,
    focal: Annotated[Optional[float], option("--focal", "MM", "With --photo: its 35 mm equivalent focal length; default what the photo notes.")] = None,
    json: Annotated[bool, typer.Option("--json", help="What was found as JSON, for a program to read.")] = False,
    output: Annotated[Optional[Path], option("-o --output", "FILE", "The new scene file, default SCENE-asshot.toml beside the old one; with --photo its marked copy.")] = None,
    workers: Workers = None,
):
    """The set checked as it was really set up, from measured marks or a photo."""
    from previz.comparing import blank_written, marks_compared, one_question, photo_checked

    one_question(marks=marks, blank=blank, photo=photo, points=points, shot=shot, focal=focal)
    loaded, built = _loaded(scene, workers)
    if blank is not None:
        return blank_written(loaded, built, blank)
    if photo is not None:
        return photo_checked(loaded, built, photo, points, shot, focal, json, output)
    return _verdict(marks_compared(loaded, built, marks, json, output, workers))


@app.command(epilog="Example: previz sheet scenes/clockmakers-attic.toml --paper Letter")
def sheet(
    scene: ScenePath,
    output: Annotated[Optional[Path], option("-o --output", "PATH", "A folder, or a file that ends in .pdf.")] = None,
    paper: Annotated[str, typer.Option("--paper", metavar="NAME", help="A4, A3 or Letter.")] = "A4",
    format: Annotated[str, typer.Option("--format", metavar="LIST", help="pdf, svg (the drawings as files), or both with a comma.")] = "pdf",
    workers: Workers = None,
):
    """The paper for the shooting day: bill, drawings to scale, a page a shot."""
    from previz.check.folder import default_folder
    from previz.check.report import report
    from previz.check.study import study_set
    from previz.progress import watched
    from previz.sheets.sheet import checked_formats, checked_paper, write_sheet

    formats, paper = checked_formats(format), checked_paper(paper)
    with watched() as watch:
        lit = _lit(scene, workers, watch)
        study = study_set(lit, workers=workers, watch=watch)
        figures = report(study)
        written = write_sheet(study, lit, output or default_folder(scene), paper=paper, formats=formats, figures=figures, workers=workers, watch=watch)
    for path in written:
        print(path)
    return _verdict(figures)


@app.command(epilog="Example: previz bench scenes/clockmakers-attic.toml --share")
def bench(
    scene: ScenePath,
    port: Annotated[Optional[int], option("--port", "N", "Port of the page; default 8470, or a free one near it.")] = None,
    share: Annotated[bool, typer.Option("--share", help="Let a tablet in this network in, with a one-time code; only in a network that you trust.")] = False,
    workers: Workers = None,
):
    """The page at the bench: move a lamp, see the light move."""
    from previz.bench.run import run_bench

    checked_workers(workers)
    run_bench(scene, port=port, share=share, workers=workers)


def _day_papers(study, lit, folder: Path, workers, watch) -> list[tuple[str, str]]:
    """Write the sheet and the drawings that `make` links."""
    from previz.sheets.sheet import write_sheet

    written = write_sheet(study, lit, folder, formats=("pdf", "svg"), workers=workers, watch=watch)
    says = {".pdf": "the sheet for the shooting day, on A4; previz sheet has other papers", ".svg": "a drawing of it, to scale"}
    return [(path.name, says[path.suffix]) for path in written]


def _templates(scene, folder: Path) -> list[tuple[str, str]]:
    """Write the wall templates that `make` links; a set that has none, or too many sheets, has its reason said and is made without."""
    from previz.sheets.cut import write_templates

    try:
        written, _ = write_templates(scene, folder / "templates.pdf")
    except OutsideFault:
        raise
    except OptionFault as fault:
        print(f"No wall templates: {fault}", file=sys.stderr)
        return []
    return [(path.name, "wall templates at 1:1, on A4; previz cut has other papers and formats") for path in written]


def _lit(path: Path, workers: int | None, watch):
    """Read, check, build and light the set of a file."""
    from previz.rays.lit import light_set

    loaded, built = _loaded(path, workers)
    return light_set(loaded.scene, built, workers=workers, progress=watch("light"))


def _loaded(path: Path, workers: int | None):
    from previz.build.load import load_set
    from previz.light.measured import unusable_files

    checked_workers(workers)
    return load_set(path, unusable_files)


def _shot(path: Path, name: str | None, workers: int | None):
    """Read, check and build a set; return it with the shot called `name`, or the first."""
    loaded, built = _loaded(path, workers)
    shots = {shot.name: shot for shot in loaded.scene.shot}
    if not shots:
        raise OptionFault(f"{path} has no shot, so there is no lens to look through", "Add a [[shot]] with name, from and look.")
    if name is not None and name not in shots:
        raise OptionFault(f'--shot "{name}": {path} has no shot of that name', f"It has {', '.join(shots)}.")
    return loaded, built, shots[name] if name is not None else next(iter(shots.values()))


def _verdict(figures: dict) -> int:
    return SAYS_STOP if any(finding["level"] == "stop" for finding in figures["findings"]) else DONE


def main() -> None:
    """Run the command line and leave with its exit code."""
    sys.exit(run(sys.argv[1:]))


def run(arguments: list[str]) -> int:
    """Run one command and return its exit code; what goes wrong is said on standard error."""
    try:
        code = app(args=arguments or ["--help"], prog_name="previz", standalone_mode=False) or DONE
        sys.stdout.flush()
        # typer turns Ctrl-C into this code, and a closed pipe into SystemExit.
        return _refused(interrupted(arguments), INTERRUPTED) if code == INTERRUPTED else code
    except (BrokenPipeError, SystemExit):
        # Whoever read the output has gone (previz check ... | head); Python would complain again at its own end.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    except PrevizError as fault:
        return _refused(str(fault), fault.exit_code)
    except (KeyboardInterrupt, typer.Abort):
        return _refused(interrupted(arguments), INTERRUPTED)
    except typer.TyperException as fault:
        return _refused(usage_fault(fault), OptionFault.exit_code)
    except MemoryError:
        return _refused("There is not enough memory for this.\n  Ask for a smaller --size, or give the set a coarser mesh.", OutsideFault.exit_code)
    except OSError as fault:
        return _refused(f"{fault.filename or 'the system'}: {fault.strerror or fault}", OutsideFault.exit_code)
    except Exception:
        traceback.print_exc()
        return _refused("This is a fault of previz, not of your file. What it was doing stands above.", OWN_FAULT)


def _refused(text: str, code: int) -> int:
    print(text, file=sys.stderr, flush=True)
    return code
