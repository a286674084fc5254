// What goes over the wire, as the server's previz/bench/wire.py states it. Lengths are set millimetres, times real seconds of the take.

export type Point = [number, number, number];
export type Flat = [number, number];
/** What a key of the file may hold; null takes the key (or a whole row) away. */
export type Value = null | boolean | number | string | Value[] | { [key: string]: Value };
/** Table, the row's name as typed, then the key: ["lamp", "key", "at"]; ["haze", "extinction"]; ["scale"]. */
export type Key = string[];
export interface Change {
  key: Key;
  to: Value;
}
/** A key as the server tells it: numbers count the items of a list. */
export type Told = (string | number)[];
export interface Fault {
  key: Told | null;
  says: string;
  remedy?: string | null;
  line?: number | null;
}
export interface Conflict {
  key: Told;
  was: Value;
  theirs: Value;
  yours: Value;
  by: string;
}

/** One row of the scene file: its keys in the file's words, defaults written out. */
export interface Row {
  name?: string;
  [key: string]: Value | undefined;
}
export interface Scene {
  title?: string;
  scale?: number;
  room?: Row[];
  opening?: Row[];
  prop?: Row[];
  lamp?: Row[];
  shot?: Row[];
  [table: string]: Value | Row | Row[] | undefined;
}
export interface SceneDoc {
  rev: number;
  file: string;
  text: string;
  scene: Scene;
  names: Record<string, string[]>;
  faults: Fault[];
}

export interface Cut {
  cut: Flat[][];
  below: { name: string; rings: Flat[][] }[];
  openings: { name: string; on: string; line: [Flat, Flat] }[];
}
export interface Shot {
  name: string;
  take_s: number;
  clip_s: number;
  move: string;
  path: Point[];
  pan: number[];
  tilt: number[];
  take_at: number[];
  subject: { name: string; at: Point } | null;
  half_width: number;
  half_height: number;
  /** Which of from, to, look may be dragged, and the key that each is typed under. */
  editable: Record<string, Key>;
}
export interface Drawing {
  rev: number;
  bounds: [Point, Point];
  plan: Cut & { cut_mm: number };
  section: Cut & { shot: string | null; along: "x" | "y"; at_mm: number };
  walls: {
    name: string;
    outline: Flat[];
    openings: { name: string; row: string; shape: string; at: Flat; size: Flat; outline: Flat[]; bars: Flat[][]; repeated: boolean }[];
    min_web_mm: number;
  }[];
  lamps: Lamp[];
  slider: { from: Point; to: Point } | null;
  lift: Value;
  /** `lamps`: as that shot has them; null where it changes none. */
  shots: (Shot & { lamps: Lamp[] | null })[];
}
export interface Lamp {
  name: string;
  at: Point;
  toward: Point;
  kind: string;
  emits: Point[];
  inside: boolean;
  /** Whether the shot does without it. */
  out: boolean;
  /** What its place and its aim are typed under: the lamp's own keys, or those of a shot that has it elsewhere. */
  keys: { at: Key; toward: Key };
}

export interface Patch {
  lamp: string;
  opening: string;
  pane: [number, number];
  on: string;
  outline_mm: Point[];
  centre_mm: Point;
  lux: number;
  lit_share: number;
}
export interface Light {
  rev: number;
  seq: number | null;
  lift_mm: number;
  /** Where the lens would go, while something is tried out; else the drawing has it. */
  shot: Shot | null;
  patches: Patch[];
  shafts: { lamp: string; opening: string; pane: [number, number]; lines: [Point, Point][] }[];
}

export interface Finding {
  level: "ok" | "care" | "stop";
  about: string;
  says: string;
  remedy: string;
}
export interface Curves {
  take_s: number[];
  clearance_mm: (number | null)[];
  focus_mm: (number | null)[];
  near_mm: (number | null)[];
  far_mm: (number | null)[];
  contrast_stops: (number | null)[];
  extinction_per_m: (number | null)[];
  usable_from_s: number | null;
  usable_to_s: number | null;
  /** Less clearance than this asks for care. */
  care_under_mm: number;
}
/** Where a finding points: a shot, a moment of its take, a place, and the names of what it means. */
export interface Pointer {
  shot: string | null;
  take_s: number | null;
  at: Point | null;
  names: string[];
}
export interface Figures {
  rev: number;
  report: { findings: Finding[]; shots: ({ name: string } & Record<string, unknown>)[]; patches: Patch[]; [more: string]: unknown };
  curves: Record<string, Curves>;
  points: Pointer[];
}

export interface PictureNews {
  n: number;
  rev: number;
  seq: number | null;
  shot: string;
  take_s: number;
  grade: "low" | "fine";
  width: number;
  height: number;
}
export type JobState = "waiting" | "running" | "done" | "failed" | "cancelled";
export interface Job {
  job: string;
  verb: string;
  options: Record<string, Value>;
  state: JobState;
  share: number | null;
  says: string;
  files: string[];
  /** Whether a later job wrote files of it again; they are named there now. */
  again: boolean;
}
export interface Version {
  rev: number;
  when: string;
  by: string;
  says: string;
  kind: string;
  keys: Told[];
}
/** A fresh one-time code for another device; the link as a QR symbol, rows of 0 and 1. */
export interface Invitation {
  address: string;
  code: string;
  link: string;
  expires_s: number;
  qr: number[][];
}

export type ToServer =
  | { do: "hello"; who: string; rev: number | null }
  | { do: "edit"; id: string; base: number; changes: Change[]; says: string }
  | { do: "try"; seq: number; changes: Change[] }
  | { do: "undo" | "redo"; id: string; base?: number; answer?: "mine" | "theirs" }
  | { do: "back_to"; id: string; rev: number }
  | { do: "look"; shot: string; take_s: number; width: number };

export type FromServer =
  | { did: "hello"; rev: number; clients: number; file: string; share: boolean }
  | { did: "edit"; rev: number; changes: Change[]; by: string; id: string; says: string }
  | { did: "saved"; rev: number }
  | { did: "refused"; id: string | null; seq?: number | null; faults: Fault[] }
  | { did: "asked"; id: string; conflicts: Conflict[] }
  | { did: "outside"; rev: number; says: string }
  | { did: "outside_fault"; faults: Fault[] }
  | { did: "try"; by: string; changes: Change[] }
  | ({ did: "picture" } & PictureNews)
  | { did: "light"; n: number; rev: number; seq: number | null }
  | { did: "figures"; rev: number }
  | { did: "working"; what: string; share: number | null }
  | ({ did: "job" } & Job)
  | { did: "here"; clients: number }
  | { did: "full"; id?: string | null; says: string; wait_s?: number }
  | { did: "fault"; says: string };
