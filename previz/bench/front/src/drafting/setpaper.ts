// Plan and section: the set as it is cut, where the light goes, where the lens goes, and everything that can be moved there.

import type { Bench, Mount } from "../bench";
import { svg } from "../dom";
import type { Cut, Drawing, Flat, Light, Point, Shot } from "../protocol";
import { aheadOf, bodyParts, frameCorners, poseAt } from "./camera";
import { DrawnPaper } from "./drawnpaper";
import type { Grip } from "./grips";
import { type Facing, flat, lampsNow, type LampNow, movingShot, offsetOf, openingOffset, PLAN, sectionFacing, setGrips, type SetState, throwOf } from "./setgrips";
import { type Box, hull, line, rings } from "./sheet";
import { trying } from "./trying";
import { figure, isPoint, rowName, valueOf } from "./values";
import { crossings, placeWords, type Word } from "./words";

const SNAP_PX = 7;
const EDGE_PX = 26;
/** Openings drawn shorter than this are not named: their names would hide the set. */
const LEAST_NAMED_PX = 10;

/** Where a lamp's mark stands on the sheet, and whether that is only where the line to it leaves the sheet. */
type LampMarked = LampNow & { mark: Flat; off: boolean };

export const setPaper =
  (kind: "plan" | "section"): Mount =>
  (host, bench) =>
    new SetPaper(kind, host, bench);

class SetPaper extends DrawnPaper {
  private along: "x" | "y" | null = null;

  constructor(
    private readonly kind: "plan" | "section",
    host: HTMLElement,
    bench: Bench,
  ) {
    super(host, bench, kind, kind === "plan" ? "Plan of the set, seen from above" : "Section through the set", true);
    this.sheet.press = (target) => this.press(target);
    this.watch();
    for (const seen of [bench.light, bench.shot, bench.takeS, bench.chosen]) this.ends.add(seen.on(() => this.soon.ask()));
  }

  protected newDrawing(): void {
    const drawing = this.bench.drawing.get();
    if (drawing) {
      // a section that lies the other way is fitted anew: where the paper was moved to means nothing on it
      if (this.kind === "section" && drawing.section.along !== this.along) this.sheet.forget();
      this.along = drawing.section.along;
      this.sheet.settle();
    }
    this.soon.ask();
  }

  private facing(drawing: Drawing): Facing {
    return this.kind === "plan" ? PLAN : sectionFacing(drawing.section.along);
  }

  private state(drawing: Drawing): SetState {
    const { scene, since } = this.scenes.drawn(drawing.rev, this.bench.scene.get());
    return {
      scene,
      changes: [...since, ...this.bench.theirTry.get(), ...trying(this.bench).get()],
      drawing,
      light: this.bench.light.get(),
      shot: this.bench.shot.get(),
      takeS: this.bench.takeS.get(),
      chosen: this.bench.chosen.get(),
      facing: this.facing(drawing),
      snapMm: SNAP_PX / this.sheet.scale,
    };
  }

  private shot(drawing: Drawing): Shot | undefined {
    return drawing.shots.find((shot) => shot.name === this.bench.shot.get());
  }

  protected box(everything: boolean): Box | null {
    const drawing = this.bench.drawing.get();
    if (!drawing) return null;
    const facing = this.facing(drawing);
    const points: Point[] = [...drawing.bounds, ...(this.shot(drawing)?.path ?? [])];
    if (everything) {
      points.push(...lampsNow(this.state(drawing)).map((lamp) => lamp.at));
      if (drawing.slider) points.push(drawing.slider.from, drawing.slider.to);
    }
    const all = points.map((p) => flat(facing, p));
    const [right, up] = [all.map((p) => p[0]), all.map((p) => p[1])];
    return { low: [Math.min(...right), Math.min(...up)], high: [Math.max(...right), Math.max(...up)] };
  }

  private press(target: Element): void {
    const name = target.closest<SVGElement>("[data-prop]")?.dataset.prop;
    const drawing = this.bench.drawing.get();
    if (!drawing) return;
    const row = name ? rowName(this.bench.scene.get().scene, "prop", name) : "";
    this.bench.chosen.set(row && valueOf(this.bench.scene.get().scene, [], ["prop", row]) ? ["prop", row] : null);
  }

  protected draw(): void {
    const drawing = this.bench.drawing.get();
    if (!drawing || !this.sheet.width) return;
    const state = this.state(drawing);
    const cut = this.kind === "plan" ? drawing.plan : drawing.section;
    const lamps = this.lamps(state);
    const { light } = state;
    const shot = this.shot(drawing);
    const moving = movingShot(state);
    this.sheet.world.replaceChildren(
      ...this.below(state, cut),
      ...(light ? this.light(state, light) : []),
      svg("path", { class: "cut", d: rings(cut.cut), fill: `url(#${this.sheet.hatch})` }),
      ...this.openings(state, cut),
      ...this.rail(state),
      ...(moving ? this.camera(state, moving) : []),
    );
    this.lines.replaceChildren(...this.beams(lamps), ...this.guides());
    const grips = setGrips(state).map((grip) => this.onSheet(grip, lamps));
    this.grips.show(grips);
    this.words.replaceChildren(...this.labels(state, cut, lamps, grips, shot));
    this.sheet.readout.textContent = this.grips.words || this.caption(drawing);
  }

  private caption(drawing: Drawing): string {
    if (this.kind === "plan") return `Cut ${figure(drawing.plan.cut_mm)} mm above the floor`;
    const { along, at_mm, shot } = drawing.section;
    return `Cut upright at ${along === "x" ? "y" : "x"} ${figure(at_mm)} mm${shot ? ` for “${shot}”` : ""}`;
  }

  private below(state: SetState, cut: Cut): SVGElement[] {
    const subject = state.drawing.shots.find((shot) => shot.name === state.shot)?.subject?.name;
    const props = new Set((state.scene.prop ?? []).map((row) => row.name));
    return cut.below.map(({ name, rings: outline }) => {
      const row = rowName(state.scene, "prop", name);
      const isProp = props.has(row);
      const key = ["prop", row, "at"];
      const by = isProp && offsetOf(valueOf(state.scene, state.changes, key), valueOf(state.scene, [], key));
      const [x, y] = by ? flat(state.facing, by) : [0, 0];
      const chosen = isProp && state.chosen?.[0] === "prop" && state.chosen[1] === row;
      const path = svg("path", { class: `below${isProp ? " prop" : ""}${row === subject ? " is-subject" : ""}${chosen ? " chosen" : ""}`, d: rings(outline), ...(isProp ? { "data-prop": name } : {}), ...(x || y ? { transform: `translate(${x} ${y})` } : {}) });
      if (isProp) path.append(svg("title", {}, name));
      return path;
    });
  }

  private light(state: SetState, light: Light): SVGElement[] {
    const hulls = light.shafts.map((shaft) => hull(shaft.lines.flat().map((p) => flat(state.facing, p))));
    const patches = light.patches.map((patch) => patch.outline_mm.map((p) => flat(state.facing, p)));
    return [svg("path", { class: "shaft", d: rings(hulls) }), svg("path", { class: "patch", d: rings(patches) })];
  }

  private openings(state: SetState, cut: Cut): SVGElement[] {
    return cut.openings.map((opening) => {
      const [x, y] = openingOffset(state, opening.name);
      const chosen = state.chosen?.[0] === "opening" && state.chosen[1] === rowName(state.scene, "opening", opening.name);
      return svg("path", { class: `opening-line${chosen ? " chosen" : ""}`, d: line(opening.line.map((p) => [p[0] + x, p[1] + y])) });
    });
  }

  private rail(state: SetState): SVGElement[] {
    const [from, to] = (["from", "to"] as const).map((end) => valueOf(state.scene, state.changes, ["slider", end]));
    if (!isPoint(from) || !isPoint(to)) return [];
    const ends = [flat(state.facing, from), flat(state.facing, to)];
    return [svg("path", { class: "rail-bed", d: line(ends) }), svg("path", { class: "rail-line", d: line(ends) })];
  }

  private camera(state: SetState, shot: Shot): SVGElement[] {
    const pose = poseAt(shot, state.takeS);
    const corners = frameCorners(shot, pose, aheadOf(shot, pose));
    const shape = (points: Point[]) => rings([hull(points.map((p) => flat(state.facing, p)))]);
    return [
      svg("path", { class: "in-frame", d: shape([pose.at, ...corners]) }),
      svg("path", { class: "frame-edge", d: shape(corners) }),
      ...bodyParts(state.scene, pose).map((part) => svg("path", { class: "barrel", d: shape(part) })),
      svg("path", { class: "lens-path", d: line(shot.path.map((p) => flat(state.facing, p))) }),
    ];
  }

  /** Lamps where they are now; one beyond the sheet is marked at its edge. */
  private lamps(state: SetState): LampMarked[] {
    const { width, height } = this.sheet;
    return lampsNow(state).map((lamp) => {
      const { at, toward } = lamp;
      const [here, there] = [this.sheet.px(flat(state.facing, at)), this.sheet.px(flat(state.facing, toward))];
      const inside = (p: Flat) => p[0] >= 12 && p[1] >= 12 && p[0] <= width - 12 && p[1] <= height - 12;
      if (inside(here)) return { ...lamp, mark: here, off: false };
      const clamp = (p: Flat): Flat => [Math.min(width - EDGE_PX, Math.max(EDGE_PX, p[0])), Math.min(height - EDGE_PX - 10, Math.max(EDGE_PX, p[1]))];
      return { ...lamp, mark: inside(there) ? leaving(there, here, width, height) : clamp(here), off: true };
    });
  }

  private onSheet(grip: Grip, lamps: LampMarked[]): Grip {
    const lamp = lamps.find((one) => grip.id === one.keys.at.join("/"));
    if (!lamp) return grip;
    const aim = this.sheet.px(flat(this.facing(this.bench.drawing.get()!), lamp.toward));
    const turn = (Math.atan2(lamp.mark[1] - aim[1], aim[0] - lamp.mark[0]) * 180) / Math.PI;
    return { ...grip, at: this.sheet.mm(lamp.mark), turn };
  }

  private beams(lamps: LampMarked[]): SVGElement[] {
    const drawing = this.bench.drawing.get()!;
    return lamps.filter((lamp) => !lamp.out).flatMap((lamp) => {
      const aim = this.sheet.px(flat(this.facing(drawing), lamp.toward));
      const [x, y] = lamp.mark;
      const out: SVGElement[] = [svg("path", { class: "beam", d: `M${x} ${y}L${aim[0]} ${aim[1]}` })];
      if (lamp.off) {
        // broken off, as a drawing says of what stands farther away than the sheet is wide
        const length = Math.hypot(aim[0] - x, aim[1] - y) || 1;
        const [ux, uy] = [(aim[0] - x) / length, (aim[1] - y) / length];
        const [cx, cy] = [x + ux * 20, y + uy * 20];
        const at = (a: number, b: number) => `${cx + a * ux - b * uy} ${cy + a * uy + b * ux}`;
        out.push(svg("path", { class: "break", d: `M${at(-3, -9)}L${at(3, -3)}L${at(-3, 3)}L${at(3, 9)}` }));
      }
      return out;
    });
  }

  private guides(): SVGElement[] {
    return this.grips.guides.map((guide) => {
      const [a, b] = [this.sheet.px(guide.from), this.sheet.px(guide.to)];
      return svg("path", { class: "guide", d: `M${a[0]} ${a[1]}L${b[0]} ${b[1]}` });
    });
  }

  private labels(state: SetState, cut: Cut, lamps: LampMarked[], grips: Grip[], shot: Shot | undefined): SVGElement[] {
    const { sheet } = this;
    const words: Word[] = [];
    const held = grips.find((grip) => grip.id === this.grips.held);
    if (held && this.grips.words) words.push({ text: this.grips.words.replace(/^[^:]*: /, ""), at: sheet.px(held.at), class: "live", away: 20, first: "above", always: true });
    for (const lamp of lamps) {
      const more = [lamp.out && "out in this shot", lamp.own && "in this shot", lamp.off && `${figure(Math.round(throwOf(lamp.at, lamp.toward)))} mm away`];
      words.push({ text: [lamp.name, ...more.filter(Boolean)].join(", "), at: lamp.mark, class: "lamp-word", away: 15 });
    }
    const named = new Set<string>();
    for (const opening of cut.openings) {
      const name = rowName(state.scene, "opening", opening.name);
      const grip = grips.find((one) => one.id === `opening/${name}/at`);
      if (named.has(name)) continue;
      named.add(name);
      const [a, b] = opening.line;
      if (Math.hypot(a[0] - b[0], a[1] - b[1]) * sheet.scale < LEAST_NAMED_PX) continue;
      words.push({ text: name, at: sheet.px(grip?.at ?? [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2]), class: "opening-word", away: 13 });
    }
    if (shot?.subject) {
      const grip = grips.find((one) => one.kind === "subject" && one.chosen?.[1] === shot.subject!.name);
      words.push({ text: shot.subject.name, at: sheet.px(grip?.at ?? flat(state.facing, shot.subject.at)), away: 13 });
    }
    for (const grip of grips) {
      const text = grip.kind === "lens" ? (grip.id.endsWith("/from") ? "start" : "end") : grip.kind === "rail" ? (grip.id.endsWith("/from") ? "rail, 0" : "rail end") : grip.kind === "look" ? "looks here" : grip.kind === "turn" ? grip.name.replace(/^.*, /, "") : "";
      if (text && !(grip === held && this.grips.words)) words.push({ text, at: sheet.px(grip.at), away: 12 });
      if (grip.kind === "subject" && grip.chosen?.[1] !== shot?.subject?.name) words.push({ text: grip.chosen?.[1] ?? "", at: sheet.px(grip.at), away: 13 });
    }
    const taken = grips.map((grip) => {
      const [x, y] = sheet.px(grip.at);
      return { x: x - 11, y: y - 11, width: 22, height: 22 };
    });
    const walls = cut.cut.map((ring) => ring.map((p) => sheet.px(p)));
    return placeWords(words, [sheet.barBox, ...taken], sheet.width, sheet.height, (rect) => crossings(walls, rect));
  }
}

/** Where the line from a point inside to one outside leaves the sheet, a little before its edge. */
function leaving(inside: Flat, outside: Flat, width: number, height: number): Flat {
  let share = 1;
  const low: Flat = [EDGE_PX, EDGE_PX];
  const high: Flat = [width - EDGE_PX, height - EDGE_PX - 10];
  for (const i of [0, 1] as const) {
    const step = outside[i] - inside[i];
    if (outside[i] < low[i]) share = Math.min(share, (low[i] - inside[i]) / step);
    if (outside[i] > high[i]) share = Math.min(share, (high[i] - inside[i]) / step);
  }
  share = Math.max(0, share);
  return [inside[0] + share * (outside[0] - inside[0]), inside[1] + share * (outside[1] - inside[1])];
}
