// Running dimensions (ISO 129-1): every figure measured from the datum corner, so that no error of a tape adds up.

import { svg } from "../dom";
import type { Sheet } from "./sheet";
import { figure } from "./values";

const GAP_PX = 15;
const REACH_PX = 14;

/** Places at least `gap` apart, in order, near `values` (ascending): each run that is too tight is spread round its middle. */
export function spread(values: number[], gap: number): number[] {
  const runs: { sum: number; count: number }[] = [];
  const start = (run: { sum: number; count: number }) => run.sum / run.count - ((run.count - 1) * gap) / 2;
  for (const value of values) {
    runs.push({ sum: value, count: 1 });
    while (runs.length > 1) {
      const [a, b] = [runs[runs.length - 2]!, runs[runs.length - 1]!];
      if (start(b) - (start(a) + (a.count - 1) * gap) >= gap) break;
      runs.splice(-2, 2, { sum: a.sum + b.sum, count: a.count + b.count });
    }
  }
  return runs.flatMap((run) => Array.from({ length: run.count }, (_, i) => start(run) + i * gap));
}

/** The values once each, zero with them: that is where they are measured from. */
const distinct = (values: number[]): number[] => [0, ...values].sort((a, b) => a - b).filter((v, i, all) => i === 0 || v - all[i - 1]! > 0.05);

/** Figures below what is drawn, from its lowest edge `low` [mm] downwards. */
export function figuresBelow(sheet: Sheet, values: number[], low: number): SVGElement[] {
  const all = distinct(values);
  const y = Math.min(sheet.px([0, low])[1] + 6, sheet.height - 80);
  const at = all.map((value) => sheet.px([value, 0])[0]);
  const places = spread(at, GAP_PX);
  const leaders = at.map((x, i) => `M${x} ${y - 6}V${y + 4}L${places[i]} ${y + REACH_PX}`).join("");
  return [
    svg("path", { class: "measure", d: `${leaders}M${at[0]} ${y}H${at[at.length - 1]}` }),
    datum(sheet.px([0, 0])[0], y),
    ...all.map((value, i) => svg("text", { class: "word measured", "text-anchor": "end", transform: `translate(${places[i]! + 4.5} ${y + REACH_PX + 3}) rotate(-90)` }, figure(value))),
  ];
}

/** Figures left of what is drawn, from its edge `left` [mm]. */
export function figuresBeside(sheet: Sheet, values: number[], left: number): SVGElement[] {
  const all = distinct(values);
  const x = Math.max(sheet.px([left, 0])[0] - 6, 62);
  const at = all.map((value) => sheet.px([0, value])[1]);
  const places = spread([...at].reverse(), GAP_PX).reverse();
  const leaders = at.map((y, i) => `M${x + 6} ${y}H${x - 4}L${x - REACH_PX} ${places[i]}`).join("");
  return [
    svg("path", { class: "measure", d: `${leaders}M${x} ${at[0]}V${at[at.length - 1]}` }),
    datum(x, sheet.px([0, 0])[1]),
    ...all.map((value, i) => svg("text", { class: "word measured", "text-anchor": "end", x: x - REACH_PX - 3, y: places[i]! + 4.5 }, figure(value))),
  ];
}

const datum = (x: number, y: number): SVGElement => svg("circle", { class: "datum", cx: x, cy: y, r: 3.5 });
