// Playing the move in the lens picture: what the player offers to the paper that holds it.

import type { Bench } from "../bench";

export interface Mix {
  /** Stops brighter (+) or darker (-) than the shot's own exposure. */
  exposure: number;
  /** Haze density as a factor on the file's. */
  haze: number;
  /** Level of each lamp as a factor on the file's. */
  lamps: Record<string, number>;
}
export interface Player {
  element: HTMLCanvasElement;
  /** Show one moment of the take. */
  show(takeS: number): void;
  mix(mix: Mix): void;
  dispose(): void;
}

/** Fetch the shot's pack and make a canvas that draws it; null where the browser or the engine has nothing to play with. */
export async function player(_bench: Bench, _shot: string): Promise<Player | null> {
  return null;
}
