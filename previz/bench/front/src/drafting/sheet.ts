// A sheet of drawing paper in set millimetres: a grid that follows the zoom, a scale bar, and pan and zoom by finger, mouse, wheel and key.

import { h, svg } from "../dom";
import type { Flat } from "../protocol";
import { figure } from "./values";
import "./drawing.css";

export interface Box {
  low: Flat;
  high: Flat;
}
/** What a pointer that went down on a thing does from then on. */
export interface Drag {
  move(px: Flat, event: PointerEvent): void;
  drop(event: PointerEvent): void;
  cancel(): void;
}

const STEPS = [0.1, 0.5, 1, 5, 10, 50, 100, 500, 1000, 5000];
const LEAST_GRID_PX = 9;
const PER_PRESS = 1.4;
const CLICK_PX = 4;
/** Round what was reached by the keyboard. [px] */
const ROOM_PX = 16;
let count = 0;

export class Sheet {
  readonly element: HTMLElement;
  readonly svg: SVGSVGElement;
  /** Drawn in millimetres, up is up: everything that is of the set. */
  readonly world = svg("g");
  /** Drawn in pixels: handles and words. */
  readonly over = svg("g");
  /** Words under the drawing: what is being moved, else what is shown. One line, so that nothing jumps while it changes. */
  readonly readout = h("output", { class: "readout" });
  readonly hatch: string;
  width = 0;
  height = 0;
  /** Pixels per millimetre. */
  scale = 1;
  /** Where a press on things goes before the ground gets it. */
  take: (px: Flat, event: PointerEvent) => Drag | null = () => null;
  press: (target: Element, px: Flat) => void = () => {};

  /** Kept free round what is fitted. [px] */
  margins = { left: 44, right: 44, top: 22, bottom: 38 };

  private origin: Flat = [0, 0];
  private own = false;
  private fitted: Box | null = null;
  private readonly grid = svg("path", { class: "grid" });
  private readonly gridBold = svg("path", { class: "grid bold" });
  private readonly bar = svg("g", { class: "scale-bar" });
  private readonly pattern: SVGPatternElement;
  private readonly pointers = new Map<number, Flat>();
  private drag: { id: number; start: Flat; moved: boolean; on: Drag | null; target: Element } | null = null;
  private pinch: { gap: number; middle: Flat } | null = null;
  private readonly watching: ResizeObserver;

  constructor(
    label: string,
    private readonly redraw: () => void,
    private readonly whole: () => Box | null,
    private readonly all: (() => Box | null) | null = null,
  ) {
    this.hatch = `hatch-${++count}`;
    this.pattern = svg("pattern", { id: this.hatch, width: 5, height: 5, patternUnits: "userSpaceOnUse" }, svg("rect", { class: "hatch-ground", width: 5, height: 5 }), svg("path", { class: "hatch-line", d: "M0 0V5" }));
    this.svg = svg("svg", { class: "sheet-svg", tabindex: 0, role: "group", "aria-label": `${label}. Arrow keys move the paper, plus and minus zoom, 0 fits the set.` }, svg("defs", {}, this.pattern), this.grid, this.gridBold, this.world, this.over, this.bar);
    const button = (text: string, name: string, press: () => void) => h("button", { type: "button", class: "small", "aria-label": name, title: name, onclick: press }, text);
    this.element = h(
      "div",
      { class: "sheet" },
      h(
        "div",
        { class: "sheet-tools" },
        button("−", "Zoom out", () => this.zoom(1 / PER_PRESS)),
        button("+", "Zoom in", () => this.zoom(PER_PRESS)),
        button("Fit", "Fit the set", () => this.fit()),
        this.all && button("All", "Show everything, lamps too", () => this.fit(this.all!())),
      ),
      this.svg,
      this.readout,
    );
    this.svg.addEventListener("pointerdown", this.down);
    this.svg.addEventListener("pointermove", this.moved);
    this.svg.addEventListener("pointerup", this.up);
    this.svg.addEventListener("pointercancel", this.lost);
    this.svg.addEventListener("wheel", this.wheel, { passive: false });
    this.svg.addEventListener("keydown", this.key);
    this.watching = new ResizeObserver(() => this.resize());
    this.watching.observe(this.svg);
  }

  dispose(): void {
    this.watching.disconnect();
    this.element.remove();
  }

  px(mm: Flat): Flat {
    return [this.origin[0] + mm[0] * this.scale, this.origin[1] - mm[1] * this.scale];
  }

  mm(px: Flat): Flat {
    return [(px[0] - this.origin[0]) / this.scale, (this.origin[1] - px[1]) / this.scale];
  }

  /** Fit a box, the set where none is given; and keep it fitted while the paper changes its size. */
  fit(box: Box | null = this.whole()): void {
    this.own = false;
    this.fitted = box;
    this.refit();
  }

  /** As wide for its height as what it shows, within reason; the page's style caps it. */
  private shape(): void {
    if (!this.fitted) return;
    const { low, high } = this.fitted;
    this.svg.style.aspectRatio = String(Math.min(2.2, Math.max(0.9, (high[0] - low[0] + 1) / (high[1] - low[1] + 1))));
  }

  /** A new drawing came: fit it, unless the maker has moved the paper. */
  settle(): void {
    if (!this.own && !this.fitted) {
      this.fitted = this.whole();
      this.shape();
    }
    if (!this.own) this.refit();
    else this.draw();
  }

  /** Drop what was fitted, so that the next drawing is fitted anew. */
  forget(): void {
    this.own = false;
    this.fitted = null;
  }

  zoom(by: number, about: Flat = [this.width / 2, this.height / 2]): void {
    const scale = Math.min(60, Math.max(0.02, this.scale * by));
    const held = this.mm(about);
    this.own = true;
    this.scale = scale;
    this.origin = [about[0] - held[0] * scale, about[1] + held[1] * scale];
    this.draw();
  }

  private shift(by: Flat): void {
    this.own = true;
    this.origin = [this.origin[0] + by[0], this.origin[1] + by[1]];
    this.draw();
  }

  /** Move the paper as little as it takes to show a place, with some room round it. */
  reveal(mm: Flat): void {
    const at = this.px(mm);
    const size: Flat = [this.width, this.height];
    const by = [0, 1].map((axis) => Math.max(0, ROOM_PX - at[axis]!) - Math.max(0, at[axis]! - size[axis]! + ROOM_PX)) as Flat;
    if (by[0] || by[1]) this.shift(by);
  }

  private resize(): void {
    const box = this.svg.getBoundingClientRect();
    if (!box.width || !box.height) return;
    const held = this.mm([this.width / 2, this.height / 2]);
    const fresh = !this.width;
    [this.width, this.height] = [box.width, box.height];
    if (this.own && !fresh) {
      this.origin = [this.width / 2 - held[0] * this.scale, this.height / 2 + held[1] * this.scale];
      this.draw();
    } else this.settle();
  }

  private refit(): void {
    if (!this.fitted || !this.width) return;
    const { low, high } = this.fitted;
    const { left, right, top, bottom } = this.margins;
    const [wide, tall] = [Math.max(1, high[0] - low[0]), Math.max(1, high[1] - low[1])];
    this.scale = Math.max(0.02, Math.min((this.width - left - right) / wide, (this.height - top - bottom) / tall));
    const middle = [(low[0] + high[0]) / 2, (low[1] + high[1]) / 2] as const;
    this.origin = [(this.width + left - right) / 2 - middle[0] * this.scale, (this.height + top - bottom) / 2 + middle[1] * this.scale];
    this.draw();
  }

  private draw(): void {
    if (!this.width) return;
    this.svg.setAttribute("viewBox", `0 0 ${this.width} ${this.height}`);
    const s = this.scale;
    this.world.setAttribute("transform", `matrix(${s} 0 0 ${-s} ${this.origin[0]} ${this.origin[1]})`);
    this.pattern.setAttribute("patternTransform", `scale(${1 / s}) rotate(45)`);
    const at = STEPS.findIndex((step) => step * s >= LEAST_GRID_PX);
    const step = STEPS[at < 0 ? STEPS.length - 1 : at]!;
    this.grid.setAttribute("d", this.lines(step));
    this.gridBold.setAttribute("d", this.lines(step * 10));
    this.drawBar(step);
    this.redraw();
  }

  private lines(step: number): string {
    const [left, top] = this.mm([0, 0]);
    const [right, low] = this.mm([this.width, this.height]);
    const d: string[] = [];
    for (let x = Math.ceil(left / step) * step; x <= right; x += step) d.push(`M${this.px([x, 0])[0].toFixed(1)} 0V${this.height}`);
    for (let y = Math.ceil(low / step) * step; y <= top; y += step) d.push(`M0 ${this.px([0, y])[1].toFixed(1)}H${this.width}`);
    return d.join("");
  }

  private drawBar(grid: number): void {
    const nice = [1, 2, 5].flatMap((n) => [0.1, 1, 10, 100, 1000].map((ten) => n * ten)).sort((a, b) => a - b);
    const length = nice.filter((n) => n * this.scale <= Math.min(140, this.width / 3)).pop() ?? 0.1;
    const [x, y, wide] = [10, this.height - 9, length * this.scale];
    this.bar.replaceChildren(
      svg("rect", { class: "bar-ground", x: 0, y: this.height - 25, width: wide + 20 + textWidth(`${figure(length)} mm`), height: 25 }),
      svg("path", { class: "bar", d: `M${x} ${y - 6}V${y}H${x + wide}V${y - 6}M${x + wide / 2} ${y - 4}V${y}` }),
      svg("text", { class: "word", x: x + wide + 6, y }, `${figure(length)} mm`),
      svg("title", {}, `Scale bar of ${figure(length)} mm of the set; the fine grid is ${figure(grid)} mm.`),
    );
  }

  /** What the scale bar covers, in pixels. */
  get barBox(): { x: number; y: number; width: number; height: number } {
    return { x: 0, y: this.height - 26, width: 220, height: 26 };
  }

  private at(event: MouseEvent): Flat {
    const box = this.svg.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  }

  private readonly down = (event: PointerEvent): void => {
    if (event.button > 0) return;
    const px = this.at(event);
    this.pointers.set(event.pointerId, px);
    this.svg.setPointerCapture(event.pointerId);
    if (this.drag?.on) return; // a second finger does not disturb a drag
    if (this.pointers.size === 2) {
      this.drag = null;
      this.pinch = this.spread();
      return;
    }
    this.drag = { id: event.pointerId, start: px, moved: false, on: this.take(px, event), target: event.target as Element };
    this.svg.classList.add(this.drag.on ? "dragging" : "panning");
  };

  private spread(): { gap: number; middle: Flat } {
    const [a, b] = [...this.pointers.values()] as [Flat, Flat];
    return { gap: Math.hypot(a[0] - b[0], a[1] - b[1]) || 1, middle: [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2] };
  }

  private readonly moved = (event: PointerEvent): void => {
    const before = this.pointers.get(event.pointerId);
    if (!before) return;
    const px = this.at(event);
    this.pointers.set(event.pointerId, px);
    if (this.pinch && this.pointers.size === 2) {
      const now = this.spread();
      this.shift([now.middle[0] - this.pinch.middle[0], now.middle[1] - this.pinch.middle[1]]);
      this.zoom(now.gap / this.pinch.gap, now.middle);
      this.pinch = now;
      return;
    }
    const drag = this.drag;
    if (!drag || drag.id !== event.pointerId) return;
    drag.moved ||= Math.hypot(px[0] - drag.start[0], px[1] - drag.start[1]) > CLICK_PX;
    if (!drag.moved) return;
    if (drag.on) drag.on.move(px, event);
    else this.shift([px[0] - before[0], px[1] - before[1]]);
  };

  private readonly up = (event: PointerEvent): void => {
    const drag = this.drag;
    this.leave(event);
    if (!drag || drag.id !== event.pointerId) return;
    if (drag.on) drag.on.drop(event);
    else if (!drag.moved) this.press(drag.target, drag.start);
  };

  private readonly lost = (event: PointerEvent): void => {
    const drag = this.drag;
    this.leave(event);
    if (drag?.id === event.pointerId) drag.on?.cancel();
  };

  private leave(event: PointerEvent): void {
    this.pointers.delete(event.pointerId);
    if (this.pointers.size < 2) this.pinch = null;
    if (this.drag?.id !== event.pointerId) return;
    this.drag = null;
    this.svg.classList.remove("dragging", "panning");
  }

  /** Let go of what is held, as Escape does. */
  letGo(): void {
    this.drag?.on?.cancel();
    this.drag = null;
    this.svg.classList.remove("dragging", "panning");
  }

  private readonly wheel = (event: WheelEvent): void => {
    // the wheel scrolls the page until the drawing has been taken up, so that the page can be read past it
    if (!event.ctrlKey && !this.element.contains(document.activeElement)) return;
    event.preventDefault();
    this.zoom(Math.exp(-event.deltaY * (event.deltaMode ? 0.05 : event.ctrlKey ? 0.01 : 0.0015)), this.at(event));
  };

  private readonly key = (event: KeyboardEvent): void => {
    if (event.target !== this.svg || event.ctrlKey || event.metaKey) return;
    const moves: Record<string, Flat> = { ArrowLeft: [40, 0], ArrowRight: [-40, 0], ArrowUp: [0, 40], ArrowDown: [0, -40] };
    if (moves[event.key]) this.shift(moves[event.key]!);
    else if (event.key === "+" || event.key === "=") this.zoom(PER_PRESS);
    else if (event.key === "-") this.zoom(1 / PER_PRESS);
    else if (event.key === "0") this.fit();
    else return;
    event.preventDefault();
  };
}

let pen: CanvasRenderingContext2D | null = null;
const widths = new Map<string, number>();
/** How wide words come out on a sheet. [px] */
export function textWidth(text: string, bold = false): number {
  const key = bold ? `**${text}` : text;
  const known = widths.get(key);
  if (known !== undefined) return known;
  pen ??= document.createElement("canvas").getContext("2d");
  if (pen) pen.font = `${bold ? 600 : 400} 13px ${getComputedStyle(document.body).fontFamily}`;
  const width = (pen ? pen.measureText(text).width : text.length * 7) + 1;
  if (widths.size > 2000) widths.clear();
  widths.set(key, width);
  return width;
}

const paths = new WeakMap<Flat[][], string>();
/** A path through rings, in millimetres; made once for rings that stay the same. */
export function rings(all: Flat[][]): string {
  const known = paths.get(all);
  if (known !== undefined) return known;
  const path = all.map((ring) => (ring.length ? `M${ring.map((p) => `${p[0]} ${p[1]}`).join("L")}Z` : "")).join("");
  paths.set(all, path);
  return path;
}
export const line = (points: Flat[]): string => (points.length ? `M${points.map((p) => `${p[0]} ${p[1]}`).join("L")}` : "");

/** The convex hull of points, anticlockwise (Andrew's monotone chain). */
export function hull(points: Flat[]): Flat[] {
  const sorted = [...points].sort((a, b) => a[0] - b[0] || a[1] - b[1]);
  const half = (list: Flat[]): Flat[] => {
    const out: Flat[] = [];
    for (const p of list) {
      while (out.length > 1) {
        const [a, b] = [out[out.length - 2]!, out[out.length - 1]!];
        if ((b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0]) > 0) break;
        out.pop();
      }
      out.push(p);
    }
    return out.slice(0, -1);
  };
  return sorted.length < 3 ? sorted : [...half(sorted), ...half(sorted.reverse())];
}
