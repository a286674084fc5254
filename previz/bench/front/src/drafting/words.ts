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
  /** Tried under its place first, not beside it. */
  below?: boolean;
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

/** Return texts for the words, the first the most important, clear of each other, of `taken` and of the paper's edge. */
export function placeWords(words: Word[], taken: Rect[], width: number, height: number): SVGElement[] {
  const full = [...taken];
  const out: SVGElement[] = [];
  for (const word of words) {
    const wide = textWidth(word.text);
    if (wide > width) continue;
    const inside = word.at[0] >= -2 && word.at[1] >= -2 && word.at[0] <= width + 2 && word.at[1] <= height + 2;
    if (!inside && !word.always) continue;
    const spot = spots(word, wide).map((r) => (word.always ? clamped(r, width, height) : r));
    const found = spot.find((r) => r.x >= 2 && r.y >= 2 && r.x + r.width <= width - 2 && r.y + r.height <= height - 2 && !full.some((other) => meet(r, other))) ?? (word.always ? spot[0] : undefined);
    if (!found) continue;
    full.push(found);
    out.push(svg("rect", { class: "word-ground", x: found.x - 2, y: found.y, width: found.width + 4, height: HIGH, rx: 3 }), svg("text", { class: `word ${word.class ?? ""}`, x: found.x, y: found.y + HIGH - 4 }, word.text));
  }
  return out;
}

function spots({ at, away = 12, below: first }: Word, wide: number): Rect[] {
  const [x, y] = at;
  const out: Rect[] = first ? [{ x: x - wide / 2, y: y + away, width: wide, height: HIGH }] : [];
  for (const d of [away, away * 1.8, away * 2.8]) {
    const [beside, left] = [x + d, x - d - wide];
    const [above, below] = [y - d - HIGH, y + d];
    const level = y - HIGH / 2;
    out.push(...([[beside, level], [left, level], [x - wide / 2, above], [x - wide / 2, below], [beside, above + HIGH / 2], [left, above + HIGH / 2], [beside, below - HIGH / 2], [left, below - HIGH / 2]] as Flat[]).map(([rx, ry]) => ({ x: rx, y: ry, width: wide, height: HIGH })));
  }
  return out;
}

const clamped = (r: Rect, width: number, height: number): Rect => ({ ...r, x: Math.max(3, Math.min(width - 3 - r.width, r.x)), y: Math.max(3, Math.min(height - 3 - r.height, r.y)) });
