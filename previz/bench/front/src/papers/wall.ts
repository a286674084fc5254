// One wall seen from outside, as it is cut: openings moved and sized with snapping, measured from the datum corner.

import type { Bench, Mount } from "../bench";
import { DrawnPaper } from "../drafting/drawnpaper";
import { figuresBelow, figuresBeside } from "../drafting/running";
import { type Box, line, rings, textWidth } from "../drafting/sheet";
import { trying } from "../drafting/trying";
import { figure, isFlat, rowOf, rowsOf, valueOf } from "../drafting/values";
import { freePlace, leaders, type OpeningNow, openingsNow, sizeOf, type Wall, wallGrips, type WallState } from "../drafting/wallgrips";
import { placeWords, type Word } from "../drafting/words";
import { h, svg } from "../dom";
import type { Change, Flat, SceneDoc, Value } from "../protocol";

const SNAP_PX = 7;
const SHAPES = ["rect", "arch", "lancet", "round"];
const SHAPE_WORDS: Record<string, string> = { rect: "square-headed", arch: "round-headed arch", lancet: "pointed lancet", round: "round" };

export const wall: Mount = (host, bench) => new WallPaper(host, bench);

class WallPaper extends DrawnPaper {
  private readonly picker = h("select", { "aria-label": "Wall", onchange: () => this.pick(this.picker.value) });
  private readonly remove = h("button", { type: "button", class: "small", onclick: () => this.takeAway() }, "Take away");
  private readonly tools = h("div", { class: "wall-tools" }, this.picker, h("button", { type: "button", class: "small", onclick: () => this.add() }, "Add opening"), this.remove);
  private readonly nothing = h("p", { class: "empty", hidden: true }, "This set has no rooms of the file, so there are no walls to cut.");
  private readonly fields = h("div", { class: "opening-fields" });
  private name = "";
  private fieldsOf = "";

  constructor(host: HTMLElement, bench: Bench) {
    super(host, bench, "wall", "Wall seen from outside", false);
    this.sheet.margins = { left: 74, right: 26, top: 30, bottom: 88 };
    this.sheet.press = (target) => {
      const row = target.closest<SVGElement>("[data-opening]")?.dataset.opening;
      bench.chosen.set(row ? ["opening", row] : null);
    };
    this.element.prepend(this.nothing, this.tools);
    this.element.append(this.fields);
    this.watch();
    this.ends.add(bench.chosen.on(() => this.follow()));
  }

  protected override newScene(doc: SceneDoc): void {
    this.fieldsOf = "";
    super.newScene(doc);
  }

  protected newDrawing(): void {
    const walls = this.bench.drawing.get()?.walls ?? [];
    const count = (one: Wall) => (one.openings.length ? ` (${one.openings.length})` : "");
    const none = this.bench.drawing.get() !== null && !walls.length;
    this.nothing.hidden = !none;
    this.sheet.element.hidden = this.tools.hidden = none;
    this.picker.replaceChildren(...walls.map((one) => h("option", { value: one.name }, one.name + count(one))));
    if (!walls.some((one) => one.name === this.name)) {
      this.name = (walls.find((one) => one.openings.length) ?? walls[0])?.name ?? "";
      this.sheet.forget();
    }
    this.picker.value = this.name;
    this.follow();
    this.sheet.settle();
    this.soon.ask();
  }

  /** The wall of the opening that is chosen elsewhere comes up here. */
  private follow(): void {
    const row = this.chosenRow();
    const walls = this.bench.drawing.get()?.walls ?? [];
    const holds = (one: Wall) => one.openings.some((opening) => opening.row === row);
    const found = row ? walls.find(holds) : undefined;
    if (found && !holds(this.wall() ?? found)) this.pick(found.name, true);
    this.soon.ask();
  }

  private pick(name: string, keep = false): void {
    this.name = name;
    this.picker.value = name;
    if (!keep && this.bench.chosen.get()?.[0] === "opening") this.bench.chosen.set(null);
    this.sheet.forget();
    this.sheet.settle();
    this.soon.ask();
  }

  private chosenRow(): string | null {
    const chosen = this.bench.chosen.get();
    return chosen?.[0] === "opening" ? (chosen[1] ?? null) : null;
  }

  private wall(): Wall | undefined {
    return this.bench.drawing.get()?.walls.find((one) => one.name === this.name);
  }

  private state(wall: Wall): WallState {
    const { scene, since } = this.scenes.drawn(this.bench.drawing.get()!.rev, this.bench.scene.get());
    return { scene, changes: [...since, ...this.bench.theirTry.get(), ...trying(this.bench).get()], wall, chosen: this.bench.chosen.get(), snapMm: SNAP_PX / this.sheet.scale };
  }

  protected box(): Box | null {
    const outline = this.wall()?.outline;
    if (!outline?.length) return null;
    const [right, up] = [outline.map((p) => p[0]), outline.map((p) => p[1])];
    return { low: [Math.min(...right), Math.min(...up)], high: [Math.max(...right), Math.max(...up)] };
  }

  protected draw(): void {
    const wall = this.wall();
    if (!wall || !this.sheet.width) return;
    const state = this.state(wall);
    const openings = openingsNow(state);
    const box = this.box()!;
    const chosen = this.chosenRow();
    this.sheet.world.replaceChildren(
      svg("path", { class: "wall-face", d: rings([wall.outline]) }),
      ...openings.map((one) => {
        const path = svg("path", { class: `hole${one.drawn.row === chosen ? " chosen" : ""}`, d: rings([placed(one, one.drawn.outline)]), "data-opening": one.drawn.row });
        return path;
      }),
      ...openings.map((one) => svg("path", { class: "bars", d: rings(one.drawn.bars.map((ring) => placed(one, ring))) })),
    );
    const edges = (axis: 0 | 1) => openings.flatMap((one) => [one.at[axis], one.at[axis] + one.size[axis]]);
    const corners = (axis: 0 | 1) => wall.outline.map((p) => p[axis]);
    const own = openings.find((one) => one.drawn.row === chosen);
    this.lines.replaceChildren(
      ...figuresBelow(this.sheet, [...corners(0), ...edges(0)], box.low[1]),
      ...figuresBeside(this.sheet, [...corners(1), ...edges(1)], box.low[0]),
      ...(own ? this.sizes(own) : []),
      ...this.grips.guides.map((guide) => svg("path", { class: "guide", d: line([this.sheet.px(guide.from), this.sheet.px(guide.to)]) })),
    );
    const grips = wallGrips(state);
    this.grips.show(grips);
    const held = grips.find((grip) => grip.id === this.grips.held);
    const words: Word[] = [];
    const [, ...snapped] = this.grips.words.split(" · ");
    if (held && snapped.length) words.push({ text: snapped.join(" · "), at: this.sheet.px(held.at), class: "live", away: 22, first: "above", always: true });
    for (const one of leaders(openings)) words.push({ text: one.drawn.row, at: this.sheet.px([one.at[0] + one.size[0] / 2, one.at[1]]), over: this.sheet.px([one.at[0] + one.size[0] / 2, one.at[1] + one.size[1]]), class: "opening-word", away: 8, first: "below" });
    const taken = grips.map((grip) => {
      const [x, y] = this.sheet.px(grip.at);
      return { x: x - 10, y: y - 10, width: 20, height: 20 };
    });
    if (own) taken.push(...this.sizeBoxes(own));
    this.words.replaceChildren(...placeWords(words, [...taken, { x: 0, y: 0, width: 66, height: this.sheet.height }, { x: 0, y: this.sheet.height - 84, width: this.sheet.width, height: 84 }], this.sheet.width, this.sheet.height));
    this.sheet.readout.textContent = this.grips.words || "Seen from outside; figures from the datum corner";
    this.showFields(state);
  }

  /** Width over the chosen opening, height beside it. */
  private sizes(one: OpeningNow): SVGElement[] {
    const { left, right, top, low } = this.edges(one);
    const [over, beside] = this.sizeBoxes(one);
    return [
      svg("path", { class: "size-line", d: `M${left} ${top - 4}V${top - 16}M${right} ${top - 4}V${top - 16}M${left} ${top - 12}H${right}M${right + 4} ${top}H${right + 16}M${right + 4} ${low}H${right + 16}M${right + 12} ${top}V${low}` }),
      ...[over!, beside!].map((box) => svg("rect", { class: "word-ground", ...box, rx: 3 })),
      svg("text", { class: "word measured", "text-anchor": "middle", x: (left + right) / 2, y: over!.y + 12 }, figure(one.size[0])),
      svg("text", { class: "word measured", x: beside!.x + 2, y: (top + low) / 2 + 4.5 }, figure(one.size[1])),
    ];
  }

  private edges(one: OpeningNow): { left: number; right: number; top: number; low: number } {
    const [left, low] = this.sheet.px(one.at);
    const [right, top] = this.sheet.px([one.at[0] + one.size[0], one.at[1] + one.size[1]]);
    return { left, right, top, low };
  }

  private sizeBoxes(one: OpeningNow): { x: number; y: number; width: number; height: number }[] {
    const { left, right, top, low } = this.edges(one);
    const [wide, high] = [textWidth(figure(one.size[0])), textWidth(figure(one.size[1]))];
    return [
      { x: (left + right - wide) / 2, y: top - 31, width: wide, height: 16 },
      { x: right + 17, y: (top + low) / 2 - 8, width: high + 4, height: 16 },
    ];
  }

  /** Number fields of the chosen opening; rebuilt when the scene changes, so that typing is never disturbed by a drag elsewhere. */
  private showFields(state: WallState): void {
    const row = this.chosenRow();
    const here = row && state.wall.openings.some((one) => one.row === row) ? row : "";
    this.remove.disabled = !here;
    const stamp = here && JSON.stringify([here, ...["at", "size", "shape"].map((key) => valueOf(state.scene, state.changes, ["opening", here, key]))]);
    if (stamp === this.fieldsOf || this.fields.contains(document.activeElement)) return;
    this.fieldsOf = stamp;
    this.fields.replaceChildren(...(here ? this.makeFields(state, here) : []));
  }

  private makeFields(state: WallState, row: string): HTMLElement[] {
    const value = (key: string) => valueOf(state.scene, state.changes, ["opening", row, key]);
    const at = value("at");
    const raw = value("size");
    const size = sizeOf(raw);
    const { rev } = this.bench.scene.get();
    const put = (key: string, to: Value, what: string) => void this.grips.edit([{ key: ["opening", row, key], to }], `${what} of opening ${row}`, rev);
    const number = (label: string, start: number, change: (to: number) => void) =>
      h("label", {}, h("span", {}, label), h("input", { type: "number", step: "any", inputmode: "decimal", value: start, onchange: (event: Event) => {
        const to = (event.target as HTMLInputElement).valueAsNumber;
        if (Number.isFinite(to)) change(to);
      } }), h("span", { class: "unit" }, "mm"));
    const out: HTMLElement[] = [h("strong", {}, row)];
    if (isFlat(at)) out.push(number("along", at[0], (to) => put("at", [to, at[1]], "Along")), number("up", at[1], (to) => put("at", [at[0], to], "Up")));
    if (size && typeof raw === "number") out.push(number("diameter", raw, (to) => put("size", to, "Size")));
    else if (size) out.push(number("width", size[0], (to) => put("size", [to, size[1]], "Width")), number("height", size[1], (to) => put("size", [size[0], to], "Height")));
    const shape = value("shape");
    if (typeof shape === "string") out.push(this.shapeField(row, shape, raw));
    return out;
  }

  private shapeField(row: string, shape: string, size: Value | undefined): HTMLElement {
    const change = (event: Event) => {
      const to = (event.target as HTMLSelectElement).value;
      const changes: Change[] = [{ key: ["opening", row, "shape"], to }];
      // a round opening is as wide as it is high; the others have both
      if (to === "round" && isFlat(size)) changes.push({ key: ["opening", row, "size"], to: Math.min(...size) });
      if (to !== "round" && typeof size === "number") changes.push({ key: ["opening", row, "size"], to: [size, to === "lancet" ? Math.max(size, Math.ceil(size * 0.9)) : size] });
      void this.grips.edit(changes, `Shape of opening ${row}`);
    };
    return h("label", {}, h("span", {}, "shape"), h("select", { onchange: change }, ...SHAPES.map((one) => h("option", { value: one, selected: one === shape }, SHAPE_WORDS[one]!))));
  }

  private add(): void {
    const wall = this.wall();
    if (!wall) return;
    const place = freePlace(this.state(wall));
    if (!place) return this.bench.say(`There is no room for another opening in ${wall.name}.`, "assertive");
    const taken = new Set(["room", "opening", "prop"].flatMap((table) => rowsOf(this.bench.scene.get().scene, table).map((row) => row.name)));
    let n = 1;
    while (taken.has(`opening ${n}`)) n++;
    const name = `opening ${n}`;
    const to = { wall: wall.name, shape: "rect", at: place.at, size: place.size };
    void this.grips.edit([{ key: ["opening", name], to }], `Add ${name}`).then((faults) => {
      if (!faults.length && rowOf(this.bench.scene.get().scene, "opening", name)) this.bench.chosen.set(["opening", name]);
    });
  }

  private takeAway(): void {
    const row = this.chosenRow();
    if (!row) return;
    this.bench.chosen.set(null);
    void this.grips.edit([{ key: ["opening", row], to: null }], `Take opening ${row} away`);
  }
}

/** An outline of the engine's laid into the box that the opening has now: while it is dragged its head is only stretched. */
function placed({ drawn, at, size }: OpeningNow, ring: Flat[]): Flat[] {
  return ring.map((p) => p.map((value, i) => at[i]! + ((value - drawn.at[i]!) * size[i]!) / (drawn.size[i]! || 1)) as Flat);
}
