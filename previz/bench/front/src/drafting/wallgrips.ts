// Openings of one wall as they are now, and the grips that move and size them.

import type { Change, Drawing, Flat, Key, Scene, Value } from "../protocol";
import type { Grip, Guide, How, Moved } from "./grips";
import { type Course, type Named, nearest, type Snap, snapsMoved, snapsSized } from "./snaps";
import { figure, isFlat, rounded, valueOf } from "./values";

export type Wall = Drawing["walls"][number];
export type Opening = Wall["openings"][number];

export interface OpeningNow {
  drawn: Opening;
  at: Flat;
  size: Flat;
}
export interface WallState {
  scene: Scene;
  changes: Change[];
  wall: Wall;
  chosen: Key | null;
  snapMm: number;
}
const SMALLEST_MM = 1;

/** Width and height, or null for one whose outline is typed point by point. */
export function sizeOf(value: Value | undefined): Flat | null {
  if (typeof value === "number") return [value, value];
  return isFlat(value) ? value : null;
}

/** The openings with what has been moved and sized since the drawing was made. */
export function openingsNow(state: WallState): OpeningNow[] {
  return state.wall.openings.map((drawn) => {
    const value = (key: string, changes: Change[]) => valueOf(state.scene, changes, ["opening", drawn.row, key]);
    const [now, then] = [value("at", state.changes), value("at", [])];
    const by: Flat = isFlat(now) && isFlat(then) ? [now[0] - then[0], now[1] - then[1]] : [0, 0];
    return { drawn, at: [drawn.at[0] + by[0], drawn.at[1] + by[1]], size: sizeOf(value("size", state.changes)) ?? drawn.size };
  });
}

/** The opening of a row that stands for it: the first. */
export const leaders = (all: OpeningNow[]): OpeningNow[] => all.filter((one, i) => all.findIndex((other) => other.drawn.row === one.drawn.row) === i);

export function wallGrips(state: WallState): Grip[] {
  const all = openingsNow(state);
  return leaders(all).flatMap((opening) => {
    const others = all.filter((other) => other.drawn.row !== opening.drawn.row);
    const grips = [moveGrip(state, opening, others)];
    const isChosen = state.chosen?.[0] === "opening" && state.chosen[1] === opening.drawn.row;
    if (isChosen && sizeOf(valueOf(state.scene, [], ["opening", opening.drawn.row, "size"]))) grips.unshift(...edgeGrips(state, opening, others));
    return grips;
  });
}

/** The wall along (0) or up (1), as an opening that lies at `opening` across it meets others. */
function course(state: WallState, others: OpeningNow[], axis: 0 | 1): Course {
  const values = state.wall.outline.map((p) => p[axis]);
  const spans: Named[] = others.map(({ drawn, at, size }) => ({ name: drawn.row, low: at[axis], high: at[axis] + size[axis] }));
  return { wall: { low: Math.min(...values), high: Math.max(...values) }, others: spans, web: state.wall.min_web_mm, middle: axis ? "middle of the height" : "middle of the wall" };
}

function guide(state: WallState, axis: 0 | 1, at: number): Guide {
  const values = state.wall.outline.map((p) => p[axis ? 0 : 1]);
  const [low, high] = [Math.min(...values), Math.max(...values)];
  return axis ? { from: [low, at], to: [high, at] } : { from: [at, low], to: [at, high] };
}

const says = (name: string, at: Flat, size: Flat) => `${name}: ${figure(at[0])} along, ${figure(at[1])} up, ${figure(size[0])} × ${figure(size[1])} mm`;

function moveGrip(state: WallState, opening: OpeningNow, others: OpeningNow[]): Grip {
  const { row } = opening.drawn;
  const key = ["opening", row, "at"];
  const start = valueOf(state.scene, state.changes, key);
  return {
    id: `${row}/at`,
    kind: "opening",
    name: `Opening ${says(row, opening.at, opening.size)}`,
    at: [opening.at[0] + opening.size[0] / 2, opening.at[1] + opening.size[1] / 2],
    says: `Move opening ${row}`,
    chosen: ["opening", row],
    move(by, _, how) {
      if (!isFlat(start)) return { changes: [], words: "" };
      const met: Snap[] = [];
      const guides: Guide[] = [];
      const at = start.map((value, i) => {
        const axis = i as 0 | 1;
        const wanted = value + by[axis];
        const snap = how === "drag" ? nearest(snapsMoved(course(state, others, axis), wanted, opening.size[axis]), wanted, state.snapMm) : null;
        if (!snap) return rounded(wanted, how === "fine");
        met.push(snap);
        guides.push(guide(state, axis, snap.line));
        return rounded(snap.at, true);
      }) as Flat;
      return { changes: [{ key, to: at }], words: [says(row, at, opening.size), ...new Set(met.map((snap) => snap.words))].join(" · "), guides };
    },
  };
}

const NAMES: Record<string, string> = { "-1,0": "left edge", "1,0": "right edge", "0,-1": "lower edge", "0,1": "upper edge", "-1,-1": "lower left corner", "1,-1": "lower right corner", "-1,1": "upper left corner", "1,1": "upper right corner" };

/** Edges and corners of the chosen opening; a round one has corners alone, since it is as wide as it is high. */
function edgeGrips(state: WallState, opening: OpeningNow, others: OpeningNow[]): Grip[] {
  const round = typeof valueOf(state.scene, state.changes, ["opening", opening.drawn.row, "size"]) === "number" || opening.drawn.shape === "round";
  const ways = ([[-1, -1], [0, -1], [1, -1], [1, 0], [1, 1], [0, 1], [-1, 1], [-1, 0]] as Flat[]).filter(([x, y]) => !round || (x && y));
  return ways.map((way) => {
    const { row } = opening.drawn;
    const name = NAMES[way.join(",")]!;
    const at = opening.at.map((low, i) => low + (opening.size[i]! * (way[i]! + 1)) / 2) as Flat;
    const grip: Grip = {
      id: `${row}/${way.join(",")}`,
      kind: "edge",
      name: `Opening ${row}, ${name}, ${figure(opening.size[0])} × ${figure(opening.size[1])} mm`,
      at,
      says: `Size opening ${row}`,
      chosen: ["opening", row],
      move: (by, _, how) => sized(state, opening, others, way, round, by, how),
    };
    if (!round && !way[0]) grip.along = [0, 1];
    if (!round && !way[1]) grip.along = [1, 0];
    return grip;
  });
}

function sized(state: WallState, opening: OpeningNow, others: OpeningNow[], way: Flat, round: boolean, by: Flat, how: How): Moved {
  const { row } = opening.drawn;
  const [atKey, sizeKey] = [["opening", row, "at"], ["opening", row, "size"]];
  const start = valueOf(state.scene, state.changes, atKey);
  if (!isFlat(start)) return { changes: [], words: "" };
  const at: Flat = [...start];
  const size: Flat = [...opening.size];
  const met: string[] = [];
  const guides: Guide[] = [];
  // a round opening grows by the mean of both drags, from the corner opposite
  const both = (way[0] * by[0] + way[1] * by[1]) / 2;
  const pull: Flat = round ? [way[0] * both, way[1] * both] : by;
  for (const axis of [0, 1] as const) {
    if (!way[axis]) continue;
    const fixed = way[axis] > 0 ? start[axis] : start[axis] + opening.size[axis];
    const wanted = (way[axis] > 0 ? start[axis] + opening.size[axis] : start[axis]) + pull[axis];
    const snap = how === "drag" ? nearest(snapsSized(course(state, others, axis), wanted, fixed), wanted, state.snapMm) : null;
    const edge = snap ? rounded(snap.at, true) : rounded(wanted, how === "fine");
    size[axis] = Math.max(SMALLEST_MM, rounded(way[axis] > 0 ? edge - fixed : fixed - edge, true));
    if (round) size[1 - axis] = size[axis];
    if (snap) {
      met.push(snap.words);
      guides.push(guide(state, axis, snap.line));
    }
    if (round) break;
  }
  for (const axis of [0, 1] as const) if (way[axis] < 0) at[axis] = rounded(start[axis] + opening.size[axis] - size[axis], true);
  const single = typeof valueOf(state.scene, [], sizeKey) === "number";
  const changes: Change[] = [{ key: sizeKey, to: single ? size[0] : size }];
  if (way[0] < 0 || way[1] < 0) changes.unshift({ key: atKey, to: at });
  return { changes, words: [says(row, at, size), ...new Set(met)].join(" · "), guides };
}

/** A place on the wall for a new opening, clear of its edges and of the others; null where there is no room. */
export function freePlace(state: WallState): { at: Flat; size: Flat } | null {
  const { outline, min_web_mm: web } = state.wall;
  const [right, up] = [outline.map((p) => p[0]), outline.map((p) => p[1])];
  const [low, high] = [[Math.min(...right), Math.min(...up)], [Math.max(...right), Math.max(...up)]] as [Flat, Flat];
  const all = openingsNow(state);
  for (const share of [0.3, 0.2, 0.12, 0.07]) {
    const size: Flat = [Math.max(5, Math.round((high[0] - low[0]) * share)), Math.max(5, Math.round((high[1] - low[1]) * share * 1.3))];
    for (const v of [0.45, 0.3, 0.6, 0.15, 0.75])
      for (const u of [0.5, 0.3, 0.7, 0.15, 0.85]) {
        const at: Flat = [Math.round(low[0] + (high[0] - low[0]) * u - size[0] / 2), Math.round(low[1] + (high[1] - low[1]) * v - size[1] / 2)];
        const gap = Math.max(web, 2);
        const corners = ([[-gap, -gap], [size[0] + gap, -gap], [size[0] + gap, size[1] + gap], [-gap, size[1] + gap]] as Flat[]).map((c): Flat => [at[0] + c[0], at[1] + c[1]]);
        const clear = all.every((o) => at[0] > o.at[0] + o.size[0] + gap || at[0] + size[0] + gap < o.at[0] || at[1] > o.at[1] + o.size[1] + gap || at[1] + size[1] + gap < o.at[1]);
        if (clear && corners.every((corner) => within(outline, corner))) return { at, size };
      }
  }
  return null;
}

/** Whether a point lies in a ring, by the crossings of a ray to its right. */
function within(ring: Flat[], [x, y]: Flat): boolean {
  let inside = false;
  ring.forEach((a, i) => {
    const b = ring[(i + 1) % ring.length]!;
    if (a[1] > y !== b[1] > y && x < a[0] + ((y - a[1]) / (b[1] - a[1])) * (b[0] - a[0])) inside = !inside;
  });
  return inside;
}
