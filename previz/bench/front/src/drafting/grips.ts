// Grips: what can be taken hold of on a drawing, with a finger, a mouse, a pen or the keys.
//
// A grip says what the file would say were it moved by so many millimetres; here that is tried out while it moves and put
// into the file when it is let go. Arrow keys move 1 mm, or turn 1 degree, with Shift 10, with Alt 0.1; Page Up and Page Down
// move towards and away from the viewer where that is a direction of its own; Escape takes all of it back.

import type { Bench, Signal } from "../bench";
import { h, svg } from "../dom";
import { faultWords } from "../words";
import type { Change, Fault, Flat, Key } from "../protocol";
import type { Drag, Sheet } from "./sheet";
import { trying } from "./trying";

export interface Guide {
  from: Flat;
  to: Flat;
}
export interface Moved {
  changes: Change[];
  /** Where it is now, and what it has snapped to. */
  words: string;
  guides?: Guide[];
}
/** How it is moved: drag snaps and rounds to 1 mm; fine does not snap and rounds to 0.1 mm; keys do not snap. */
export type How = "drag" | "fine" | "keys";

export interface Grip {
  /** The same as long as it is the same thing. */
  id: string;
  /** How it looks. */
  kind: string;
  /** For those who hear the page: what it is and where. */
  name: string;
  /** Where it is drawn, millimetres on the sheet. */
  at: Flat;
  /** For the history. */
  says: string;
  chosen: Key | null;
  /** Which way it faces on the sheet, where that shows. [degrees, anticlockwise] */
  turn?: number;
  /** The one direction that it can go, where there is one. */
  along?: Flat;
  move(by: Flat, deeper: number, how: How): Moved;
  /** What the keys do to one that turns: by so many degrees, which on the sheet begin `along`. */
  turned?(degrees: number, fine: boolean): Moved;
}

const NEAR_PX = { touch: 28, mouse: 15 };
const KEYS_WAIT_MS = 500;
/** Share of a step that must go an arrow's way for the arrow to mean it. */
const SQUARE = 0.3;

export class Grips {
  /** Words of what is being moved. */
  words = "";
  held: string | null = null;
  guides: Guide[] = [];
  readonly layer = svg("g", { class: "grips" });
  /** What the scene did not accept, in words, beside the drawing. */
  readonly refused = h("p", { class: "refused", role: "alert", hidden: true });

  private readonly trying: Signal<Change[]>;
  private grips: Grip[] = [];
  private readonly drawn = new Map<string, SVGGElement>();
  private keys: { grip: Grip; by: Flat; deeper: number; turned: number; how: How; timer: number } | null = null;
  private frame = 0;
  private awaited = 0;
  /** The revision that was seen when what is held was taken up. */
  private base = 0;
  private turn = 0;

  constructor(
    private readonly sheet: Sheet,
    private readonly bench: Bench,
    private readonly redraw: () => void,
  ) {
    this.trying = trying(bench);
    sheet.take = (px, event) => this.take(px, event);
    this.layer.addEventListener("keydown", (event) => this.key(event));
    // On the sheet: browsers take a drawn group that listens for focus itself for one that can be reached by Tab.
    sheet.element.addEventListener("focusout", () => this.keysDone());
    sheet.element.addEventListener("focusin", ({ target }) => this.reached(target));
  }

  /** Draw these grips, each where it was if it is still there, so that the keyboard keeps its place. */
  show(grips: Grip[]): void {
    this.grips = grips;
    const chosen = this.bench.chosen.get()?.join("\n");
    for (const grip of grips) {
      let element = this.drawn.get(grip.id);
      if (!element) {
        element = svg("g", { tabindex: 0, role: "button", "data-grip": grip.id, "aria-roledescription": "movable mark" }, svg("circle", { class: "reach", r: 12 }), svg("circle", { class: "halo", r: 13 }), svg("g", {}, ...look(grip.kind)));
        this.drawn.set(grip.id, element);
        this.layer.append(element);
      }
      const [x, y] = this.sheet.px(grip.at);
      element.setAttribute("transform", `translate(${x.toFixed(1)} ${y.toFixed(1)})`);
      if (grip.turn !== undefined) element.lastElementChild!.setAttribute("transform", `rotate(${-grip.turn})`);
      element.setAttribute("class", `grip ${grip.kind}${grip.chosen?.join("\n") === chosen ? " chosen" : ""}${this.held === grip.id ? " held" : ""}`);
      element.setAttribute("aria-label", `${grip.name}. Arrow keys ${grip.turned ? "turn" : "move"} it.`);
    }
    const here = new Set(grips.map((grip) => grip.id));
    for (const [id, element] of this.drawn) {
      if (here.has(id)) continue;
      element.remove();
      this.drawn.delete(id);
    }
  }

  dispose(): void {
    if (this.keys) clearTimeout(this.keys.timer);
    cancelAnimationFrame(this.frame);
  }

  /** Reached by the keyboard where the paper does not show it: bring it into view. */
  private reached(target: EventTarget | null): void {
    const grip = target instanceof Element && target.matches(":focus-visible") ? this.grips.find(({ id }) => id === target.getAttribute("data-grip")) : undefined;
    if (grip) this.sheet.reveal(grip.at);
  }

  private take(px: Flat, event: PointerEvent): Drag | null {
    const reach = event.pointerType === "touch" ? NEAR_PX.touch : NEAR_PX.mouse;
    const away = (grip: Grip) => {
      const at = this.sheet.px(grip.at);
      return Math.hypot(at[0] - px[0], at[1] - px[1]);
    };
    const found = this.grips.map((grip) => ({ grip, away: away(grip) })).filter((one) => one.away <= reach);
    const grip = found.sort((a, b) => a.away - b.away)[0]?.grip;
    if (!grip) return null;
    this.keysDone();
    this.drawn.get(grip.id)?.focus({ preventScroll: true });
    this.base = this.bench.scene.get().rev;
    const start = this.sheet.mm(px);
    let moved = false;
    const stop = (event: KeyboardEvent) => {
      if (event.key !== "Escape") return;
      event.stopPropagation();
      this.sheet.letGo();
    };
    const end = () => window.removeEventListener("keydown", stop, true);
    window.addEventListener("keydown", stop, true);
    return {
      move: (to, event) => {
        moved = true;
        const now = this.sheet.mm(to);
        this.put(grip, grip.move([now[0] - start[0], now[1] - start[1]], 0, event.altKey ? "fine" : "drag"));
      },
      drop: () => {
        end();
        if (moved) this.keep(grip, false);
        // chosen only now: what the page then shows of it may push this paper down, and what is held with it
        if (grip.chosen) this.bench.chosen.set(grip.chosen);
      },
      cancel: () => {
        end();
        if (moved) this.back();
      },
    };
  }

  private put(grip: Grip, moved: Moved): void {
    this.trying.set(moved.changes);
    this.words = moved.words;
    this.guides = moved.guides ?? [];
    this.held = grip.id;
    if (this.frame) return;
    this.frame = requestAnimationFrame(() => {
      this.frame = 0;
      this.bench.tryOut(this.trying.get());
      this.redraw();
    });
  }

  private back(): void {
    cancelAnimationFrame(this.frame);
    this.frame = 0;
    this.bench.tryOut([]);
    this.bench.say("Put back.");
    this.rest();
  }

  private rest(): void {
    this.trying.set([]);
    this.held = null;
    this.guides = [];
    this.words = "";
    this.redraw();
  }

  /** Put what was tried into the file; what the keys did is told, since it may not be seen. */
  private keep(grip: Grip, tell: boolean): void {
    const changes = this.trying.get();
    if (!changes.length) return this.rest();
    cancelAnimationFrame(this.frame);
    this.frame = 0;
    this.held = null;
    this.guides = [];
    const words = this.words;
    void this.edit(changes, grip.says, this.base).then((faults) => {
      if (tell && !faults.length) this.bench.say(words);
    });
    this.redraw();
  }

  /** Put changes into the file; they stay on the drawing until the scene has them, and faults are shown beside it. */
  async edit(changes: Change[], says: string, base?: number): Promise<Fault[]> {
    const turn = ++this.turn;
    this.trying.set(changes);
    this.awaited = Infinity;
    this.refuse([]);
    const outcome = await this.bench.edit(changes, says, base);
    if (turn !== this.turn) return [];
    if (outcome.done === "accepted") {
      this.awaited = outcome.rev;
      this.arrived(this.bench.scene.get().rev);
      return [];
    }
    this.awaited = 0;
    this.rest();
    const faults = outcome.done === "refused" ? outcome.faults : [];
    this.refuse(faults);
    return faults;
  }

  /** The scene is at this revision: what it has need not be laid over it any more. */
  arrived(rev: number): void {
    if (!this.awaited || rev < this.awaited || this.held || this.keys) return;
    this.awaited = 0;
    this.rest();
  }

  private refuse(faults: Fault[]): void {
    this.refused.hidden = !faults.length;
    this.refused.replaceChildren(...faults.flatMap((fault) => [h("span", {}, `${faultWords(fault)} `)]));
  }

  private key(event: KeyboardEvent): void {
    const id = (event.target as Element).closest<SVGGElement>("[data-grip]")?.dataset.grip;
    const grip = this.keys?.grip.id === id ? this.keys?.grip : this.grips.find((one) => one.id === id);
    if (!grip || event.ctrlKey || event.metaKey) return;
    const step = event.shiftKey ? 10 : event.altKey ? 0.1 : 1;
    const ways: Record<string, [number, number, number]> = { ArrowLeft: [-1, 0, 0], ArrowRight: [1, 0, 0], ArrowUp: [0, 1, 0], ArrowDown: [0, -1, 0], PageUp: [0, 0, 1], PageDown: [0, 0, -1] };
    const way = ways[event.key];
    if (way) {
      if (this.keys?.grip !== grip) this.base = this.bench.scene.get().rev;
      const keys = this.keys?.grip === grip ? this.keys : (this.keys = { grip, by: [0, 0], deeper: 0, turned: 0, how: "keys", timer: 0 });
      const by = grip.along ? onLine(grip.along, way) : way;
      keys.by = [keys.by[0] + by[0] * step, keys.by[1] + by[1] * step];
      keys.deeper += way[2] * step;
      keys.turned += grip.along ? turnBy(grip.along, way) * step : 0;
      keys.how = event.altKey || keys.how === "fine" ? "fine" : "keys";
      this.put(grip, grip.turned?.(keys.turned, keys.how === "fine") ?? grip.move(keys.by, keys.deeper, keys.how));
      clearTimeout(keys.timer);
      keys.timer = window.setTimeout(() => this.keysDone(), KEYS_WAIT_MS);
    } else if (event.key === "Enter" || event.key === " ") {
      if (this.keys) this.keysDone();
      this.bench.chosen.set(grip.chosen);
    } else if (event.key === "Escape" && this.keys) {
      clearTimeout(this.keys.timer);
      this.keys = null;
      this.back();
    } else return;
    event.preventDefault();
    event.stopPropagation();
  }

  private keysDone(): void {
    const keys = this.keys;
    if (!keys) return;
    clearTimeout(keys.timer);
    this.keys = null;
    this.keep(keys.grip, true);
  }
}

/** A key press along the one line that a grip can go: right and up are forward on a line that runs right or up. */
function onLine(along: Flat, [x, y]: [number, number, number]): Flat {
  const forward = Math.abs(along[0]) >= Math.abs(along[1]) ? Math.sign(along[0]) : Math.sign(along[1]);
  const by = (x || y) * (forward || 1);
  return [along[0] * by, along[1] * by];
}

/** A key press on what turns: where the arrow points on the sheet; square to that, left turns left and up turns up. */
function turnBy(along: Flat, [x, y]: [number, number, number]): number {
  const goes = (axis: 0 | 1, square: number) => (Math.abs(along[axis]) >= SQUARE ? Math.sign(along[axis]) : square);
  return x * goes(0, -1) + y * goes(1, 1);
}

function look(kind: string): SVGElement[] {
  switch (kind) {
    case "lamp":
    case "lamp-out":
      return [svg("path", { class: "mark", d: "M-9 -5H1L7 -9V9L1 5H-9Z" })];
    case "aim":
      return [svg("path", { class: "mark-line", d: "M-7 0H7M0 -7V7" }), svg("circle", { class: "mark-hollow", r: 4 })];
    case "rail":
      return [svg("rect", { class: "mark rail-mark", x: -5, y: -8, width: 10, height: 16 })];
    case "look":
      return [svg("path", { class: "mark-line", d: "M-9 0Q0 -8 9 0Q0 8 -9 0Z" }), svg("circle", { class: "mark-dot", r: 2.5 })];
    case "turn":
      return [svg("path", { class: "mark-line", d: "M-2 -9Q5 0 -2 9M-5.5 -6L-2 -9.5L1.5 -7M-5.5 6L-2 9.5L1.5 7" }), svg("circle", { class: "mark-dot", r: 2.5 })];
    case "subject":
      return [svg("circle", { class: "mark-hollow", r: 8 }), svg("circle", { class: "mark-dot", r: 2 })];
    case "opening":
      return [svg("path", { class: "mark", d: "M0 -7L7 0L0 7L-7 0Z" })];
    case "edge":
      return [svg("rect", { class: "mark", x: -5, y: -5, width: 10, height: 10 })];
    default:
      return [svg("circle", { class: "mark", r: 6 })];
  }
}
