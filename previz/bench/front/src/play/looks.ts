/**
 * Ways to look at one frame: from where in the pupil, when while the shutter is open, and where in a pixel. Pictures of many, averaged, are out of
 * focus, smeared and smooth at edges as the engine's are, which looks at a frame in the same way (previz/frames/lens_rays.py).
 */

export interface Look {
  /** In the pupil, to the right and up. [pupil radius] */
  pupil: [number, number];
  /** In the pixel, from its middle. [pixel] */
  pixel: [number, number];
  /** While the shutter is open, from the middle of that time. [exposure] */
  moment: number;
  /** How far on the ray's first step is, in steps. */
  start: number;
}

/** The middle of everything. */
export const STRAIGHT: Look = { pupil: [0, 0], pixel: [0, 0], moment: 0, start: 0 };

/** Looks that a picture at rest is the average of. */
export const LOOKS = 48;

/** The root of x^6 = x + 1: its powers step through five dimensions evenly (M. Roberts, The unreasonable effectiveness of quasirandom sequences, 2018; from memory). */
const ROOT = 1.1347241384015194;

const GOLDEN = 0.6180339887498949;

/** The look of one of `LOOKS`, from 0: each number more lies where the ones before it have left most room. */
export function lookOf(number: number): Look {
  const [u, turn, x, y, moment] = Array.from({ length: 5 }, (_, axis) => (0.5 + (number + 1) * ROOT ** -(axis + 1)) % 1) as [number, number, number, number, number];
  const radius = Math.sqrt(u);
  const angle = 2 * Math.PI * turn;
  return { pupil: [radius * Math.cos(angle), radius * Math.sin(angle)], pixel: [x - 0.5, y - 0.5], moment: moment - 0.5, start: (number * GOLDEN) % 1 };
}
