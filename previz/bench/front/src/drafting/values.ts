// What the scene says, with changes laid over it that are not in the file yet: a drag of ours, or one on another device.

import type { Change, Flat, Key, Point, Row, Scene, Value } from "../protocol";

/** The row of a table by its name, as typed. */
export function rowOf(scene: Scene, table: string, name: string): Row | undefined {
  return rowsOf(scene, table).find((row) => row.name === name);
}

export function rowsOf(scene: Scene, table: string): Row[] {
  const rows = scene[table];
  return Array.isArray(rows) ? (rows as Row[]) : [];
}

/** The value of a key; a later change, of the key or of what holds it, goes before an earlier one, and all before the file. */
export function valueOf(scene: Scene, changes: Change[], key: Key): Value | undefined {
  for (let i = changes.length - 1; i >= 0; i--) {
    const change = changes[i]!;
    if (change.key.every((part, j) => part === key[j])) return within(change.to, key.slice(change.key.length));
  }
  return within(scene, key);
}

function within(held: unknown, key: Key): Value | undefined {
  let here = held;
  for (const part of key) {
    if (Array.isArray(here)) here = (here as Row[]).find((row) => row.name === part);
    else if (here && typeof here === "object") here = (here as Record<string, unknown>)[part];
    else return undefined;
  }
  return here as Value | undefined;
}

export const isPoint = (value: unknown): value is Point => Array.isArray(value) && value.length === 3 && value.every((v) => typeof v === "number");
export const isFlat = (value: unknown): value is Flat => Array.isArray(value) && value.length === 2 && value.every((v) => typeof v === "number");

/** The name of the row of the file that a thing of the set belongs to: "jar-2" is one of the row "jar". */
export function rowName(scene: Scene, table: string, name: string): string {
  return rowOf(scene, table, name) ? name : name.replace(/-\d+$/, "");
}

/** Whole millimetres, or tenths where the maker asks for them. */
export const rounded = (value: number, fine: boolean): number => (fine ? Math.round(value * 10) / 10 : Math.round(value)) + 0;

const figures = new Intl.NumberFormat("en", { maximumFractionDigits: 1 });
/** A length as it is shown: 1,010 or 62.5. */
export const figure = (value: number): string => figures.format(Math.round(value * 10) / 10 + 0).replace("-", "−");

/** A place in words: "x 830, y 820, 1,010 mm high". */
export const placeSays = (at: Point): string => `x ${figure(at[0])}, y ${figure(at[1])}, ${figure(at[2])} mm high`;

export interface PanelFrame {
  kind: "wall" | "slope" | "ceiling" | "floor";
  along: Point;
  up: Point;
}

/**
 * Directions of along and up of the panel that an opening is cut in, as the scene file means them; null for one that is not there.
 * They only turn a drag into figures for the file: what is drawn comes from the engine.
 */
export function panelFrame(scene: Scene, wall: string): PanelFrame | null {
  const [roomName, ...rest] = wall.split(".");
  const room = rowOf(scene, "room", roomName ?? "");
  const plan = room?.plan as Flat[] | undefined;
  if (!room || !plan) return null;
  const names = (room.walls as string[] | undefined)?.length ? (room.walls as string[]) : plan.map((_, i) => String(i + 1));
  const along = (i: number): Flat => {
    const [a, b] = [plan[i]!, plan[(i + 1) % plan.length]!];
    const length = Math.hypot(b[0] - a[0], b[1] - a[1]) || 1;
    return [(b[0] - a[0]) / length, (b[1] - a[1]) / length];
  };
  const panel = rest.join(".");
  const edge = names.indexOf(panel);
  if (edge >= 0) return { kind: "wall", along: [...along(edge), 0], up: [0, 0, 1] };
  if (panel === "ceiling") return { kind: "ceiling", along: [1, 0, 0], up: [0, 1, 0] };
  if (panel === "floor") return { kind: "floor", along: [1, 0, 0], up: [0, -1, 0] };
  const roof = room.roof as { pitch?: number; ridge?: string } | string | undefined;
  if (!panel.startsWith("slope") || typeof roof !== "object") return null;
  const level = roof.ridge === "x" ? 0 : 1;
  // "slope" alone lies over the first wall that runs along the ridge
  const over = panel === "slope" ? names.findIndex((_, i) => Math.abs(along(i)[1 - level]!) < 1e-6) : names.indexOf(panel.slice(6));
  if (over < 0) return null;
  const a = along(over);
  const pitch = ((roof.pitch ?? 0) * Math.PI) / 180;
  // up the slope: away from the wall's outside, and upward
  return { kind: "slope", along: [...a, 0], up: [-a[1] * Math.cos(pitch), a[0] * Math.cos(pitch), Math.sin(pitch)] };
}
