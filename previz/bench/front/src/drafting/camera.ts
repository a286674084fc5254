// Lens and camera at a moment of the take, as lines on a drawing.

import type { Flat, Point, Scene, Shot } from "../protocol";

/** Value of a list along the take, at a moment. */
export function along(values: number[], at: number[], takeS: number): number {
  const last = values.length - 1;
  if (last < 0) return 0;
  const next = at.findIndex((t) => t >= takeS);
  if (next === 0) return values[0]!;
  if (next < 0) return values[last]!;
  const [t0, t1] = [at[next - 1]!, at[next]!];
  const share = t1 > t0 ? (takeS - t0) / (t1 - t0) : 0;
  return values[next - 1]! + share * (values[next]! - values[next - 1]!);
}

export interface Pose {
  at: Point;
  forward: Point;
  left: Point;
  up: Point;
}

/** Entrance pupil and heading at a moment of the take; pan anticlockwise from above, tilt up. */
export function poseAt(shot: Shot, takeS: number): Pose {
  const value = (list: number[]) => along(list, shot.take_at, takeS);
  return { at: [0, 1, 2].map((i) => value(shot.path.map((p) => p[i]!))) as Point, ...turnedTo(value(shot.pan), value(shot.tilt)) };
}

/** Which way a lens looks, and its left and up, panned and tilted by so many degrees. */
export function turnedTo(panDeg: number, tiltDeg: number): Omit<Pose, "at"> {
  const [pan, tilt] = [(panDeg * Math.PI) / 180, (tiltDeg * Math.PI) / 180];
  const [cp, sp, ct, st] = [Math.cos(pan), Math.sin(pan), Math.cos(tilt), Math.sin(tilt)];
  return { forward: [ct * cp, ct * sp, st], left: [-sp, cp, 0], up: [-st * cp, -st * sp, ct] };
}

/** How far ahead what the shot looks at lies, where its frame is drawn. [mm] */
export function aheadOf(shot: Shot, pose: Pose): number {
  const target = shot.subject?.at ?? plus(pose.at, pose.forward, 100);
  return Math.max(20, [0, 1, 2].reduce((sum, i) => sum + (target[i]! - pose.at[i]!) * pose.forward[i]!, 0));
}

const plus = (a: Point, b: Point, by: number): Point => [a[0] + by * b[0], a[1] + by * b[1], a[2] + by * b[2]];

/** The four corners of the frame this far ahead, from the upper left round. */
export function frameCorners(shot: Shot, pose: Pose, ahead: number): Point[] {
  const middle = plus(pose.at, pose.forward, ahead);
  return ([[1, 1], [-1, 1], [-1, -1], [1, -1]] as Flat[]).map(([l, u]) => plus(plus(middle, pose.left, l * ahead * shot.half_width), pose.up, u * ahead * shot.half_height));
}

/** Boxes round barrel and body as corner points, from the front back. */
export function bodyParts(scene: Scene, pose: Pose): Point[][] {
  const lens = (scene.lens ?? {}) as { barrel?: Flat[]; pupil?: number };
  const body = (scene.body ?? {}) as { box?: Point };
  let front = lens.pupil ?? 0;
  const part = (length: number, wide: number, high: number): Point[] => {
    const corners = [front, front - length].flatMap((ahead) => ([[1, 1], [-1, 1], [-1, -1], [1, -1]] as Flat[]).map(([l, u]) => plus(plus(plus(pose.at, pose.forward, ahead), pose.left, (l * wide) / 2), pose.up, (u * high) / 2)));
    front -= length;
    return corners;
  };
  const out = (lens.barrel ?? []).map(([length, diameter]) => part(length, diameter, diameter));
  if (body.box) out.push(part(body.box[2], body.box[0], body.box[1]));
  return out;
}
