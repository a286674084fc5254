// Words on a drawing, none on top of another: each is tried round its place, the more important first; one without room is left out.

import { svg } from "../dom";
import type { Flat } from "../protocol";
import { textWidth } from "./sheet";

export interface Word {
  text: string;
  /** What it names, in pixels. */
  at: Flat;
  class?: string;
  /** How far from its place it starts. [px] */
  away?: number;
  /** Where it is tried first; else beside its place. */
  first?: "below" | "above";
  /** Another place that it names as well, for one that is free above it. [px] */
  over?: Flat;
  /** Kept, at the nearest free place or where it is, even if it must cross another: what is being dragged. */
  always?: boolean;
}
export interface Rect {
  x: number;
  y: number;
  width: number;
  height: number;
}

const HIGH = 16;
const meet = (a: Rect, b: Rect) => a.x < b.x + b.width && b.x < a.x + a.width && a.y < b.y + b.height && b.y < a.y + a.height;

/**
 * Return texts for the words, the first the most important, clear of each other, of `taken` and of the paper's edge; of the places
 * that are free, the one where `hides` counts least.
 */
export function placeWords(words: Word[], taken: Rect[], width: number, height: number, hides: (rect: Rect) => number = () => 0): SVGElement[] {
  const full = [...taken];
  const out: SVGElement[] = [];
  for (const word of words) {
    const wide = textWidth(word.text, word.class === "live");
    if (wide > width) continue;
    const inside = word.at[0] >= -2 && word.at[1] >= -2 && word.at[0] <= width + 2 && word.at[1] <= height + 2;
    if (!inside && !word.always) continue;
    const spot = spots(word, wide).map((r) => (word.always ? clamped(r, width, height) : r));
    const free = spot.filter((r) => r.x >= 2 && r.y >= 2 && r.x + r.width <= width - 2 && r.y + r.height <= height - 2 && !full.some((other) => meet(r, other)));
    const found = least(free, hides) ?? (word.always ? spot[0] : undefined);
    if (!found) continue;
    full.push(found);
    out.push(svg("rect", { class: "word-ground", x: found.x - 2, y: found.y, width: found.width + 4, height: HIGH, rx: 3 }), svg("text", { class: `word ${word.class ?? ""}`, x: found.x, y: found.y + HIGH - 4 }, word.text));
  }
  return out;
}

function least(all: Rect[], cost: (rect: Rect) => number): Rect | undefined {
  let [best, lowest] = [undefined as Rect | undefined, Infinity];
  for (const one of all) {
    const c = cost(one);
    if (c < lowest) [best, lowest] = [one, c];
    if (!c) break;
  }
  return best;
}

/** How many of the lines between the points of rings, in pixels, run through a rectangle. */
export function crossings(all: Flat[][], r: Rect): number {
  let count = 0;
  for (const ring of all)
    ring.forEach((a, i) => {
      const b = ring[(i + 1) % ring.length]!;
      if (Math.max(a[0], b[0]) < r.x || Math.min(a[0], b[0]) > r.x + r.width || Math.max(a[1], b[1]) < r.y || Math.min(a[1], b[1]) > r.y + r.height) return;
      // the corners lie on both sides of the line
      const side = (x: number, y: number) => Math.sign((b[0] - a[0]) * (y - a[1]) - (b[1] - a[1]) * (x - a[0]));
      const sides = [side(r.x, r.y), side(r.x + r.width, r.y), side(r.x, r.y + r.height), side(r.x + r.width, r.y + r.height)];
      if (sides.some((one) => one !== sides[0])) count++;
    });
  return count;
}

function spots({ at, away = 12, first, over }: Word, wide: number): Rect[] {
  const [x, y] = at;
  const out: Rect[] = first ? [{ x: x - wide / 2, y: first === "below" ? y + away : y - away - HIGH, width: wide, height: HIGH }] : [];
  if (over) out.push({ x: over[0] - wide / 2, y: over[1] - away - HIGH, width: wide, height: HIGH });
  for (const d of [away, away * 1.8, away * 2.8]) {
    const [beside, left] = [x + d, x - d - wide];
    const [above, below] = [y - d - HIGH, y + d];
    const level = y - HIGH / 2;
    out.push(...([[beside, level], [left, level], [x - wide / 2, above], [x - wide / 2, below], [beside, above + HIGH / 2], [left, above + HIGH / 2], [beside, below - HIGH / 2], [left, below - HIGH / 2]] as Flat[]).map(([rx, ry]) => ({ x: rx, y: ry, width: wide, height: HIGH })));
  }
  return out;
}

const clamped = (r: Rect, width: number, height: number): Rect => ({ ...r, x: Math.max(3, Math.min(width - 3 - r.width, r.x)), y: Math.max(3, Math.min(height - 3 - r.height, r.y)) });
