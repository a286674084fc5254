// Where a place of the set lies in the picture through the lens: a pinhole at the entrance pupil, turned by pan, then tilt.

import type { Point, Shot } from "./protocol";

const RADIANS = Math.PI / 180;

/** Shares of the picture's width and height from its upper left corner; null behind the lens or out of frame. */
export function seenAt(shot: Shot, takeS: number, place: Point): [number, number] | null {
  const at = shot.take_at;
  const after = Math.max(1, at.findIndex((one) => one >= takeS));
  const before = after - 1;
  const [a, b] = [at[before]!, at[after] ?? at[before]!];
  const share = b > a ? Math.min(1, Math.max(0, (takeS - a) / (b - a))) : 0;
  const between = (values: number[]): number => values[before]! + share * ((values[after] ?? values[before]!) - values[before]!);
  const [pan, tilt] = [between(shot.pan) * RADIANS, between(shot.tilt) * RADIANS];
  const [x, y, z] = [0, 1, 2].map((axis) => place[axis]! - between(shot.path.map((one) => one[axis]!))) as Point;
  const level = x * Math.cos(pan) + y * Math.sin(pan);
  const depth = level * Math.cos(tilt) + z * Math.sin(tilt);
  if (depth <= 0) return null;
  const right = (x * Math.sin(pan) - y * Math.cos(pan)) / depth / shot.half_width;
  const up = (z * Math.cos(tilt) - level * Math.sin(tilt)) / depth / shot.half_height;
  return Math.abs(right) <= 1 && Math.abs(up) <= 1 ? [0.5 + right / 2, 0.5 - up / 2] : null;
}
