"""
The page of `previz make`: pictures, reel, figures and findings of one set on one sheet of paper-white.

Takes the report and the names of the files that lie beside the page; gives HTML that needs nothing else:
no server, no script, no font or style from elsewhere.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from html import escape
from urllib.parse import quote

from previz.check.swing import swing_drawing
from previz.check.text import HEADINGS, closing_line, millimetres, number, patch_rows, rig_phrases, span, where_from

PATCH_ROWS = 40
ARROW = "\u2192"


@dataclass(frozen=True)
class ShotFiles:
    """The pictures of one shot, as file names beside the page: stills [(file, caption)], the reel, its contact sheet, its exposure chart and its haze clock."""

    stills: list[tuple[str, str]] = field(default_factory=list)
    reel: str | None = None
    contact: str | None = None
    chart: str | None = None
    clock: str | None = None


STYLE = """
:root { --paper: #fbf9f4; --ink: #23201b; --soft: #6d665b; --line: #ddd6c8; --amber: #b36b00; }
* { box-sizing: border-box; }
body { margin: 0; background: var(--paper); color: var(--ink); font: 16px/1.5 Georgia, "Times New Roman", serif; }
main { max-width: 1120px; margin: 0 auto; padding: 0 32px 72px; }
header { max-width: 1120px; margin: 0 auto; padding: 44px 32px 0; }
h1 { margin: 0; font-size: 40px; font-weight: normal; line-height: 1.15; letter-spacing: -0.01em; }
h2 { margin: 64px 0 14px; font-size: 15px; font-weight: normal; font-style: italic; color: var(--amber); }
h3 { margin: -10px 0 18px; font-size: 24px; font-weight: normal; }
header p { margin: 6px 0 22px; color: var(--soft); }
.rule { height: 14px; border-top: 1px solid var(--ink);
  background: repeating-linear-gradient(90deg, var(--ink) 0 1px, transparent 1px 60px) 0 0 / 100% 14px no-repeat,
              repeating-linear-gradient(90deg, var(--ink) 0 1px, transparent 1px 12px) 0 0 / 100% 6px no-repeat; }
figure { margin: 0; }
figcaption { padding: 6px 0 0; font-size: 13px; color: var(--soft); }
img, video { display: block; width: 100%; height: auto; background: #14120f; }
.lead { margin-top: 26px; }
.chart img { width: auto; max-width: 100%; }
.pair { display: grid; grid-template-columns: repeat(auto-fit, minmax(300px, 1fr)); gap: 22px; margin-top: 22px; }
dl { display: grid; grid-template-columns: repeat(auto-fill, minmax(165px, 1fr)); gap: 14px 26px; margin: 22px 0 0; }
dl div { border-top: 1px solid var(--line); padding-top: 6px; }
dt { font-size: 13px; color: var(--soft); }
dd { margin: 0; font-size: 19px; font-variant-numeric: lining-nums tabular-nums; }
dd small { display: block; font-size: 14px; color: var(--soft); }
.swing { margin-top: 22px; }
.swing svg { display: block; }
.swing polyline { fill: none; stroke: var(--soft); }
.swing .lens { stroke: var(--line); stroke-width: 2; }
.swing .tip { stroke: var(--amber); stroke-width: 2; }
.swing circle { fill: var(--ink); }
.wide { overflow-x: auto; }
table { width: 100%; border-collapse: collapse; font-size: 15px; font-variant-numeric: lining-nums tabular-nums; }
th { text-align: right; font-weight: normal; font-size: 13px; color: var(--soft); padding: 4px 0 4px 18px; border-bottom: 1px solid var(--ink); }
td { text-align: right; padding: 5px 0 5px 18px; border-bottom: 1px solid var(--line); white-space: nowrap; }
th:first-child, td:first-child { text-align: left; padding-left: 0; white-space: normal; }
th.words, td.words { text-align: left; white-space: normal; }
ul { list-style: none; margin: 0; padding: 0; }
li { padding: 10px 0 10px 20px; border-left: 5px solid var(--line); margin-bottom: 10px; }
li.stop { border-color: var(--ink); }
li.care { border-color: var(--amber); }
li.ok { border: 0; padding: 0 0 0 14px; margin: 0 0 7px; text-indent: -14px; break-inside: avoid; font-size: 15px; }
ul.ok { columns: 2 380px; column-gap: 40px; }
li b { font-weight: normal; font-style: italic; }
li p { margin: 2px 0 0; color: var(--soft); }
a { color: var(--amber); }
@media (max-width: 640px) { header, main { padding-left: 18px; padding-right: 18px; } h1 { font-size: 30px; } }
@media print { body { background: none; } h2 { break-after: avoid; } figure, li, tr { break-inside: avoid; } }
"""


def page(report: dict, files: dict[str, ShotFiles], papers: tuple[tuple[str, str], ...] = ()) -> str:
    """Return the page of `report`, with the files of each shot by the shot's name, and links to `papers`, (file, what it is) each."""
    first = next((entry.stills[0] for entry in files.values() if entry.stills), None)
    body = [
        f'<header><h1>{escape(report["scene"])}</h1><p>1:{number(report["scale"])}. {escape(closing_line(report["findings"]))}</p><div class="rule"></div></header>',
        "<main>",
        _picture(*first, classes="lead") if first else "",
        _findings(report["findings"], ("stop", "care")),
        *(_shot(shot, files.get(shot["name"], ShotFiles()), first) for shot in report["shots"]),
        _day(report.get("day")),
        _patches(report["patches"]),
        _findings(report["findings"], ("ok",)),
        _papers(papers),
        '<h2>Files</h2><p>The same as <a href="report.txt">plain text</a> and as <a href="report.json">JSON</a> for other programs.</p>',
        "</main>",
    ]
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(report['scene'])}</title>\n<style>{STYLE}</style>\n</head>\n<body>\n" + "\n".join(part for part in body if part) + "\n</body>\n</html>\n"
    )


def _papers(papers) -> str:
    links = "".join(f'<p><a href="{escape(quote(file))}">{escape(file)}</a>: {escape(says)}</p>' for file, says in papers)
    return f"<h2>On paper</h2>{links}" if papers else ""


def _picture(file: str, caption: str, classes: str = "") -> str:
    link = escape(quote(file))
    return f'<figure class="{classes}"><a href="{link}"><img src="{link}" alt="{escape(caption)}"></a><figcaption>{escape(caption)}</figcaption></figure>'


def _shot(shot: dict, files: ShotFiles, shown_already) -> str:
    stills = [still for still in files.stills if still != shown_already]
    pictures = [_picture(*still) for still in stills]
    if files.reel:
        link = escape(quote(files.reel))
        poster = f' poster="{escape(quote(files.stills[0][0]))}"' if files.stills else ""
        pictures.insert(0, f'<figure><video src="{link}" controls loop muted playsinline{poster}></video><figcaption>The reel, at playback speed</figcaption></figure>')
    parts = [f"<h2>Shot</h2><h3>{escape(shot['name'])}</h3>", _figures(shot)]
    parts += [swing_drawing(shot["rig"])]
    parts += [f'<div class="pair">{"".join(pictures)}</div>'] if pictures else []
    parts += [f'<div class="lead">{_picture(files.chart, "Exposure chart of the middle: stops about middle grey as the camera is set", classes="chart")}</div>'] if files.chart else []
    parts += [f'<div class="lead">{_picture(files.clock, "The haze clock: when the shafts read, and the takes that fit", classes="chart")}</div>'] if files.clock else []
    parts += [f'<div class="lead">{_picture(files.contact, "Contact sheet: time, clearance and where the patches lie")}</div>'] if files.contact else []
    return "\n".join(parts)


def _figures(shot: dict) -> str:
    """Return the figures of a shot as a strip of label and value."""
    clearance, framing, exposure, rig, focus = (shot[key] for key in ("clearance", "framing", "exposure", "rig", "focus"))
    lift = shot["lift"] or {"peak_speed_mm_s": 0.0}
    cells = [
        ("clip", f"{number(shot['clip_s'])} s", f"from a {number(shot['take_s'])} s take"),
        ("frames a second", number(shot["capture_fps"]), f"shown at {number(shot['playback_fps'])}"),
        ("focus, from the pupil", f"{span(focus['distance_mm'])} mm", f"sharp {number(focus['near_mm'])} to {number(focus['far_mm'])} mm at the nearest"),
        ("at full size", f"{number(shot['pace']['full_size_km_h'], 2)} km/h" if shot["pace"]["lens_mm_s"] else "stands still", f"eye at {span(shot['pace']['eye_m'])} m"),
        ("rig", f"{number(max(rig['peak_speed_mm_s'], lift['peak_speed_mm_s']))} mm/s", ", ".join(rig_phrases(shot)) or f"{number(rig['travel_mm'])} mm travel"),
        ("haze at the roll", f"{number(shot['haze']['extinction_at_roll_per_m'], 2)} per metre", ""),
        ("optical depth", f"{number(shot['haze']['optical_depth_across'], 2)} across the set, {number(shot['haze']['optical_depth_to_subject'], 2)} to the subject", ""),
    ]
    if shot["swirls"]:
        swirls = shot["swirls"]
        cells.append(("haze drifts", f"{number(swirls['drift_mm_s'])} mm/s", f"{number(swirls['screen_mm_s'])} mm in a second on screen"))
    if clearance:
        cells.insert(2, ("clearance", f"{number(round(clearance['min_mm'], 1))} mm", " to ".join(clearance["between"])))
    if framing:
        cells.insert(3, (f"{framing['subject']} inside the frame", f"{100 * framing['worst_margin']:.0f} %", f"{100 * framing['hidden_share']:.0f} % hidden at worst"))
    if exposure and exposure["iso_needed"] is not None:
        cells.append(("metered", f"{number(exposure['metered_cd_m2'])} cd/m\u00b2", f"mid-tone at ISO {number(exposure['iso_needed'], 2)}"))
    if shot["shafts"]:
        plainest = max(shot["shafts"], key=lambda shaft: shaft["contrast_stops"] or 0)
        cells.append(("plainest shaft", f"{number(plainest['contrast_stops'] or 0, 2)} stops", f"{plainest['opening'] or plainest['lamp']}, over {100 * plainest['frame_share']:.0f} % of the frame"))
    return "<dl>" + "".join(f"<div><dt>{escape(a)}</dt><dd>{escape(b)} <small>{escape(c)}</small></dd></div>" for a, b, c in cells) + "</dl>"


def _patches(patches: list[dict]) -> str:
    rows = patch_rows(patches)
    if not rows:
        return "<h2>Where the light lands</h2><p>No opening throws a patch.</p>"
    shown, rest = rows[:PATCH_ROWS], rows[PATCH_ROWS:]
    lines = "".join(_patch_row(row) for row in shown)
    more = f"<p>And {sum(row['count'] for row in rest):,} smaller or weaker patches; report.json has them all.</p>" if rest else ""
    return (
        '<h2>Where the light lands</h2><div class="wide"><table><thead><tr><th>opening and face</th><th>lamp</th><th>largest, mm</th><th>lux</th>'
        f"<th>soft edge, mm</th></tr></thead><tbody>{lines}</tbody></table></div>{more}"
    )


def _patch_row(row: dict) -> str:
    cells = (row["lamp"], f"{millimetres(row['width'])} \u00d7 {millimetres(row['height'])}", number(row["lux"]), number(row["penumbra_mm"], 2))
    return f"<tr><td>{escape(where_from(row).replace('->', ARROW))}</td>" + "".join(f"<td>{escape(cell)}</td>" for cell in cells) + "</tr>"


def _day(day: dict | None) -> str:
    """Return the shots in the order that moves least, and between them what changes."""
    if not day:
        return ""
    rows = "".join(
        f"<tr><td>{escape(step['after'])}</td><td class=\"words\">{escape('; '.join(step['changes']) or 'nothing changes')}</td><td>{number(step['minutes'], 2) if step['minutes'] else ''}</td></tr>"
        for step in day["steps"]
    )
    first = f"<tr><td>{escape(day['order'][0])}</td><td class=\"words\">first of the day</td><td></td></tr>"
    nearly = "" if day["exact"] else "nearly "
    return (
        f'<h2>The day, in the order that {nearly}moves least</h2><div class="wide"><table><thead><tr><th>shot</th><th class="words">change before it</th><th>minutes</th></tr></thead>'
        f"<tbody>{first}{rows}</tbody></table></div>"
    )


def _findings(findings: list[dict], levels: tuple[str, ...]) -> str:
    parts = []
    for level in levels:
        chosen = [finding for finding in findings if finding["level"] == level]
        items = "".join(_finding(finding) for finding in chosen)
        parts += [f'<h2>{escape(HEADINGS[level].capitalize())}</h2><ul class="{level}">{items}</ul>'] if chosen else []
    return "\n".join(parts)


def _finding(finding: dict) -> str:
    remedy = f"<p>{escape(finding['remedy'])}</p>" if finding["remedy"] else ""
    return f'<li class="{finding["level"]}"><b>{escape(finding["about"])}.</b> {escape(finding["says"])}{remedy}</li>'
