// The take in time, as pencil curves on a strip of paper: how near the lens comes, what is sharp, how the shafts read, how the
// haze thins. A piece of tape marks the moment that all papers show; it is drawn along with a finger, the mouse or the keys.

import type { Bench, Mount, Paper } from "../bench";
import { along, poseAt } from "../drafting/camera";
import { spread } from "../drafting/running";
import { soon } from "../drafting/soon";
import { rowOf } from "../drafting/values";
import { Ends, h, svg } from "../dom";
import type { Curves, Finding, Key, Pointer, Scene, Shot } from "../protocol";

const LEFT = 54;
/** How far in the name of a curve begins: beside the tape when it lies at the start. */
const NAME_IN = 9;
const RIGHT = 16;
const AXIS = 20;
const ROW = 74;
const HEAD = 20;
const FLAG_PX = matchMedia("(pointer: coarse)").matches ? 46 : 30;

type Values = (number | null)[];
interface Line {
  values: Values;
  class: string;
}
interface Row {
  name: string;
  /** What its marks mean, behind the name. */
  key?: string;
  low: number;
  high: number;
  unit: string;
  lines: Line[];
  band?: { low: Values; high: Values };
  levels: { at: number; class: string; words: string }[];
  /** Where it is good, in seconds of the take. */
  usable?: { from: number; to: number };
  at: number[];
}

export const strip: Mount = (host, bench) => new Strip(host, bench);

class Strip implements Paper {
  readonly element: HTMLElement;
  private readonly ends = new Ends();
  private readonly flags = h("div", { class: "flags" });
  private readonly svg = svg("svg", { class: "strip-svg", "aria-hidden": "true" });
  private readonly curves = svg("g");
  private readonly tape = svg("g", { class: "tape-mark" });
  /** Words lie over the tape, so that it never covers one. */
  private readonly named = svg("g");
  private readonly words = h("p", { class: "strip-now" });
  private readonly slider = h("div", { class: "strip-slider", role: "slider", tabindex: 0, "aria-label": "Moment of the take, on its curves", "aria-orientation": "horizontal" }, this.svg);
  private readonly watching: ResizeObserver;
  private width = 0;
  private height = 0;
  private rows: Row[] = [];
  private readonly soon = soon(() => this.draw());

  constructor(
    host: HTMLElement,
    private readonly bench: Bench,
  ) {
    this.svg.append(this.curves, this.tape, this.named);
    this.element = h("div", { class: "strip" }, this.words, this.flags, this.slider);
    host.append(this.element);
    this.slider.addEventListener("pointerdown", this.down);
    this.slider.addEventListener("pointermove", this.drawn);
    this.slider.addEventListener("keydown", this.key);
    this.watching = new ResizeObserver(() => this.soon.ask());
    this.watching.observe(this.slider);
    const redraw = () => this.soon.ask();
    this.ends.add(bench.drawing.on(redraw), bench.figures.on(redraw), bench.scene.on(redraw), bench.shot.on(redraw), bench.takeS.on(() => this.mark()));
  }

  dispose(): void {
    this.soon.stop();
    this.watching.disconnect();
    this.ends.all();
    this.element.remove();
  }

  private shot(): Shot | undefined {
    return this.bench.drawing.get()?.shots.find((shot) => shot.name === this.bench.shot.get());
  }

  private x(takeS: number): number {
    return LEFT + (takeS / Math.max(1e-9, this.shot()?.take_s ?? 1)) * (this.width - LEFT - RIGHT);
  }

  private draw(): void {
    const shot = this.shot();
    this.width = this.slider.clientWidth;
    this.slider.hidden = !shot;
    if (!shot || !this.width) {
      if (!shot) this.words.textContent = "There is no shot in the file yet: with one, its take is drawn here.";
      return;
    }
    const curves = this.bench.figures.get()?.curves[shot.name];
    this.rows = curves ? rowsOf(curves, shot, this.bench.scene.get().scene) : [];
    this.height = 2 * AXIS + Math.max(1, this.rows.length) * ROW + 8;
    this.svg.setAttribute("viewBox", `0 0 ${this.width} ${this.height}`);
    this.svg.style.height = `${this.height}px`;
    const slow = shot.clip_s / (shot.take_s || 1);
    const out: SVGElement[] = [...this.axis(shot.take_s, 1, AXIS - 6, "take"), ...this.axis(shot.clip_s, slow, this.height - 6, "screen")];
    const words: SVGElement[] = [];
    this.rows.forEach((row, i) => out.push(...this.row(row, AXIS + 6 + i * ROW, words)));
    if (!this.rows.length) words.push(svg("text", { class: "word soft", x: LEFT + 16, y: AXIS + ROW / 2 }, "Curves are being worked out."));
    this.curves.replaceChildren(...out);
    this.named.replaceChildren(...words);
    this.showFlags(shot);
    this.mark();
  }

  /** Seconds along an edge of the strip: of the take, or of the screen, which run slower by `slow`. */
  private axis(seconds: number, slow: number, y: number, name: string): SVGElement[] {
    const least = 52 / ((this.width - LEFT - RIGHT) / Math.max(1e-9, seconds));
    const step = [0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 60, 120, 300, 600].find((one) => one >= least) ?? 1200;
    const out: SVGElement[] = [svg("text", { class: "word soft", x: 0, y }, name)];
    const inner = name === "take" ? y + 8 : y - 12;
    let ticks = "";
    for (let i = 0; i * step <= seconds + 1e-9; i++) {
      const x = this.x((i * step) / slow);
      ticks += `M${x} ${inner}v-4`;
      const last = (i + 1) * step > seconds + 1e-9;
      out.push(svg("text", { class: "word soft", x: Math.min(x, this.width - 20), y, "text-anchor": "middle" }, `${Number((i * step).toFixed(3))}${last ? " s" : ""}`));
    }
    return [svg("path", { class: "measure", d: `M${LEFT} ${inner}H${this.width - RIGHT}${ticks}` }), ...out];
  }

  private row(row: Row, top: number, words: SVGElement[]): SVGElement[] {
    const [low, high] = [top + ROW - 8, top + HEAD];
    const y = (value: number) => low - ((Math.min(row.high, Math.max(row.low, value)) - row.low) / (row.high - row.low || 1)) * (low - high);
    const out: SVGElement[] = [];
    const [left, right] = [LEFT, this.width - RIGHT];
    if (row.usable) {
      const clamp = (t: number) => Math.min(right, Math.max(left, this.x(t)));
      const [from, to] = [clamp(row.usable.from), clamp(row.usable.to)];
      out.push(svg("rect", { class: "usable", x: from, y: high, width: Math.max(0, to - from), height: low - high }));
      for (const [a, b] of [[left, from], [to, right]] as const) if (b - a > 0.5) out.push(svg("rect", { class: "not-usable", x: a, y: high, width: b - a, height: low - high }));
    }
    out.push(svg("path", { class: "strip-edge", d: `M${left} ${low}H${right}M${left} ${high}V${low}` }));
    if (row.band) {
      const known = row.at.map((t, i) => [t, row.band!.low[i], row.band!.high[i]] as const).filter((one): one is [number, number, number | null] => typeof one[1] === "number");
      const there = known.map(([t, , far]) => `${this.x(t)} ${y(far ?? row.high)}`);
      const back = known.map(([t, near]) => `${this.x(t)} ${y(near)}`).reverse();
      if (known.length > 1) out.push(svg("path", { class: "sharp-band", d: `M${[...there, ...back].join("L")}Z` }));
    }
    for (const level of row.levels) if (level.at >= row.low && level.at <= row.high) {
      out.push(svg("path", { class: `level ${level.class}`, d: `M${left} ${y(level.at)}H${right}` }));
      if (level.words) words.push(svg("text", { class: `word bare soft ${level.class}`, "text-anchor": "end", x: right, y: y(level.at) - 4 }, level.words));
    }
    for (const one of row.lines) out.push(...this.curve(row.at, one, y));
    words.push(svg("text", { class: "word bare", x: LEFT + NAME_IN, y: top + 14 }, row.name, ...(row.key ? [svg("tspan", { class: "key" }, `  ${row.key}`)] : [])));
    const scale = [[row.high, high + 9], [row.low, low]] as const;
    for (const [value, at] of scale) out.push(svg("text", { class: "word soft", "text-anchor": "end", x: LEFT - 6, y: at }, short(value)));
    return out;
  }

  private curve(at: number[], { values, class: name }: Line, y: (value: number) => number): SVGElement[] {
    const points = at.map((t, i) => [t, values[i]] as const).filter((one): one is [number, number] => typeof one[1] === "number");
    if (!points.length) return [];
    const d = `M${points.map(([t, v]) => `${this.x(t).toFixed(1)} ${y(v).toFixed(1)}`).join("L")}`;
    // few moments are known: they are dotted, so that what lies between is seen to be drawn by eye
    const dots = points.length < at.length ? points.map(([t, v]) => svg("circle", { class: "known", cx: this.x(t), cy: y(v), r: 2.6 })) : [];
    return [svg("path", { class: `curve ${name}`, d }), ...dots];
  }

  /** The tape, and the figures of its moment. */
  private mark(): void {
    const shot = this.shot();
    if (!shot || !this.width) return;
    const t = Math.min(shot.take_s, Math.max(0, this.bench.takeS.get()));
    const x = this.x(t);
    const slow = shot.clip_s / (shot.take_s || 1);
    const [top, foot] = [AXIS + 3, this.height - AXIS - 1];
    const teeth = (y: number, out: number) => [0, 1, 2, 3].map((i) => `L${x - 5 + (i * 10) / 3} ${y + (i % 2 ? out : 0)}`).join("");
    this.tape.replaceChildren(svg("path", { class: "tape-strip", d: `M${x - 5} ${top}${teeth(top, -3)}L${x + 5} ${foot}${teeth(foot, 3).split("L").filter(Boolean).reverse().map((p) => `L${p}`).join("")}Z` }), svg("path", { class: "tape-line", d: `M${x} ${top}V${foot}` }));
    const time = `${t.toFixed(2)} s of the take, ${(t * slow).toFixed(1)} s on screen`;
    const figures = this.rows.map((row) => ({ name: row.name, now: nowSays(row, t) })).filter((one) => one.now);
    this.words.replaceChildren(h("strong", {}, time), ...figures.map((one) => h("span", {}, `${one.name} ${one.now}`)));
    this.slider.setAttribute("aria-valuemin", "0");
    this.slider.setAttribute("aria-valuemax", String(shot.take_s));
    this.slider.setAttribute("aria-valuenow", t.toFixed(3));
    this.slider.setAttribute("aria-valuetext", [time, ...figures.map((one) => `${one.name} ${one.now}`)].join(", "));
  }

  /** Findings that point at a moment of this shot, as flags over the strip. */
  private showFlags(shot: Shot): void {
    const figures = this.bench.figures.get();
    const found = (figures?.points ?? []).flatMap((point, i) => {
      const finding = figures!.report.findings[i];
      return finding && finding.level !== "ok" && point.shot === shot.name && point.take_s !== null ? [{ finding, point, at: point.take_s }] : [];
    });
    found.sort((a, b) => a.at - b.at);
    const places = spread(found.map((one) => this.x(one.at)), FLAG_PX);
    const over = Math.max(0, (places[places.length - 1] ?? 0) + FLAG_PX / 2 - this.width);
    this.flags.hidden = !found.length;
    this.flags.replaceChildren(...found.map((one, i) => this.flag(one.finding, one.point, places[i]! - over)));
  }

  private flag(finding: Finding, point: Pointer, x: number): HTMLElement {
    const go = () => {
      this.bench.takeS.set(point.take_s ?? 0);
      const key = keyOf(this.bench.scene.get().scene, point.names);
      if (key) this.bench.chosen.set(key);
      this.bench.say(finding.says);
    };
    const button = h("button", { type: "button", class: `flag ${finding.level}`, title: finding.says, "aria-label": `${finding.level}: ${finding.says}`, onclick: go }, finding.level === "stop" ? "■" : "▲");
    button.style.left = `${Math.max(0, x - FLAG_PX / 2)}px`;
    return button;
  }

  private readonly down = (event: PointerEvent): void => {
    if (event.button > 0) return;
    this.slider.setPointerCapture(event.pointerId);
    this.bench.playing.set(false);
    this.scrub(event);
  };

  private readonly drawn = (event: PointerEvent): void => {
    if (this.slider.hasPointerCapture(event.pointerId)) this.scrub(event);
  };

  private scrub(event: PointerEvent): void {
    const shot = this.shot();
    if (!shot) return;
    const share = (event.clientX - this.slider.getBoundingClientRect().left - LEFT) / (this.width - LEFT - RIGHT);
    this.go(share * shot.take_s);
  }

  /** To a moment, on a frame that is shot. */
  private go(takeS: number): void {
    const shot = this.shot();
    if (!shot) return;
    const fps = this.fps();
    this.bench.takeS.set(Math.min(shot.take_s, Math.max(0, Math.round(takeS * fps) / fps)));
  }

  private fps(): number {
    const fps = rowOf(this.bench.scene.get().scene, "shot", this.bench.shot.get())?.fps;
    return typeof fps === "number" && fps > 0 ? fps : 120;
  }

  private readonly key = (event: KeyboardEvent): void => {
    const shot = this.shot();
    if (!shot || event.ctrlKey || event.metaKey) return;
    const t = this.bench.takeS.get();
    const frame = (event.shiftKey ? 10 : 1) / this.fps();
    const to: Record<string, number> = { ArrowLeft: t - frame, ArrowDown: t - frame, ArrowRight: t + frame, ArrowUp: t + frame, PageUp: t + shot.take_s / 10, PageDown: t - shot.take_s / 10, Home: 0, End: shot.take_s };
    if (to[event.key] === undefined) return;
    event.preventDefault();
    this.bench.playing.set(false);
    this.go(to[event.key]!);
  };
}

const known = (values: Values): number[] => values.filter((v): v is number => typeof v === "number");
const top = (values: Values, least: number) => Math.max(least, ...known(values)) * 1.08;
const short = (value: number): string => String(Math.abs(value) >= 10 ? Math.round(value) : Math.round(value * 10) / 10).replace("-", "−");

function rowsOf(curves: Curves, shot: Shot, scene: Scene): Row[] {
  const at = curves.take_s;
  const rows: Row[] = [];
  const add = (row: Omit<Row, "at">) => rows.push({ ...row, at });
  if (known(curves.clearance_mm).length) {
    const low = Math.min(0, ...known(curves.clearance_mm));
    add({ name: "clearance", unit: "mm", low, high: top(curves.clearance_mm, curves.care_under_mm * 2), lines: [{ values: curves.clearance_mm, class: "ink" }], levels: [{ at: 0, class: "stop", words: "" }, { at: curves.care_under_mm, class: "care", words: `under ${short(curves.care_under_mm)} mm: care` }] });
  }
  if (known(curves.focus_mm).length) {
    const subject = shot.subject && at.map((t) => distance(poseAt(shot, t).at, shot.subject!.at));
    const high = Math.min(top(curves.far_mm, 10), 2.2 * Math.max(...known(curves.focus_mm), ...(subject ?? [])));
    const low = Math.max(0, Math.min(...known(curves.near_mm), ...known(curves.focus_mm), ...(subject ?? [])) * 0.85);
    add({ name: "focus", key: subject ? "grey: sharp, dashes: the subject" : "grey: sharp", unit: "mm", low, high, lines: [{ values: curves.focus_mm, class: "ink" }, ...(subject ? [{ values: subject, class: "subject" }] : [])], band: { low: curves.near_mm, high: curves.far_mm }, levels: [] });
  }
  if (known(curves.contrast_stops).length) add({ name: "shaft contrast", unit: "stops", low: 0, high: top(curves.contrast_stops, 0.5), lines: [{ values: curves.contrast_stops, class: "ink" }], levels: [] });
  if (known(curves.extinction_per_m).some((v) => v > 0)) {
    const row = rowOf(scene, "shot", shot.name);
    const after = typeof row?.start_after === "number" ? row.start_after : 0;
    const [from, to] = [curves.usable_from_s, curves.usable_to_s];
    const usable = from === null && to === null ? {} : { usable: { from: (from ?? 0) - after, to: (to ?? Infinity) - after } };
    add({ name: "haze", ...(usable.usable ? { key: `shafts read ${short(from ?? 0)} to ${to === null ? "…" : short(to)} s after the spray` } : {}), unit: "per m", low: 0, high: top(curves.extinction_per_m, 0.01), lines: [{ values: curves.extinction_per_m, class: "ink" }], levels: [], ...usable });
  }
  return rows;
}

const distance = (a: number[], b: number[]) => Math.hypot(a[0]! - b[0]!, a[1]! - b[1]!, a[2]! - b[2]!);

/** The value of a row at a moment, in words; between moments that are known, on the straight line. */
function nowSays(row: Row, t: number): string {
  const read = (values: Values): number | null => {
    const kept = row.at.map((at, i) => [at, values[i]] as const).filter((one): one is [number, number] => typeof one[1] === "number");
    return kept.length ? along(kept.map((one) => one[1]), kept.map((one) => one[0]), t) : null;
  };
  const value = read(row.lines[0]!.values);
  if (value === null) return "";
  const words = row.unit === "mm" ? short(value) : value.toFixed(2);
  const [near, far] = row.band ? [read(row.band.low), read(row.band.high)] : [null, null];
  const sharp = near === null ? "" : far === null ? `, sharp from ${short(near)}` : `, sharp ${short(near)} to ${short(far)}`;
  return `${words} ${row.unit}${sharp}`;
}

function keyOf(scene: Scene, names: string[]): Key | null {
  for (const name of names) for (const table of ["lamp", "opening", "prop"]) if (rowOf(scene, table, name)) return [table, name];
  return null;
}
