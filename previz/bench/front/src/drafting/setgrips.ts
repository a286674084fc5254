// What can be taken hold of in plan and section, and what the file would say were it moved.

import type { Change, Drawing, Flat, Key, Lamp, Light, Point, Scene, Shot, Value } from "../protocol";
import { aheadOf, poseAt, turnedTo } from "./camera";
import type { Grip, Guide, How, Moved } from "./grips";
import { figure, isFlat, isPoint, panelFrame, placeSays, rounded, rowName, valueOf } from "./values";

/** Which two axes of the set a drawing shows: right and up on the sheet; `deep` is the one that it does not. */
export interface Facing {
  right: 0 | 1;
  up: 1 | 2;
  deep: 0 | 1 | 2;
}
export const PLAN: Facing = { right: 0, up: 1, deep: 2 };
export const sectionFacing = (along: "x" | "y"): Facing => (along === "x" ? { right: 0, up: 2, deep: 1 } : { right: 1, up: 2, deep: 0 });
export const flat = (facing: Facing, p: Point): Flat => [p[facing.right], p[facing.up]];

/** What a drag snaps to: a line across the sheet at this place, and what it is. */
interface Line {
  axis: 0 | 1;
  at: number;
  words: string;
}

export interface SetState {
  scene: Scene;
  changes: Change[];
  drawing: Drawing;
  light: Light | null;
  shot: string;
  takeS: number;
  chosen: Key | null;
  facing: Facing;
  /** How near a drag must come to snap. [mm] */
  snapMm: number;
}

/** A lamp as the chosen shot has it, where it is now; `own`: at a place of that shot alone. */
export type LampNow = Lamp & { own: boolean };

export function lampsNow(state: SetState): LampNow[] {
  const lamps = state.drawing.shots.find((shot) => shot.name === state.shot)?.lamps ?? state.drawing.lamps;
  return lamps.map((lamp) => {
    const now = (key: "at" | "toward"): Point => {
      const found = valueOf(state.scene, state.changes, lamp.keys[key]);
      return isPoint(found) ? found : lamp[key];
    };
    return { ...lamp, at: now("at"), toward: now("toward"), own: lamp.keys.at[0] === "shot" };
  });
}

/** Where the lens goes in the chosen shot: as the engine has it for what is tried out, else as it is drawn. */
export function movingShot(state: SetState): Shot | undefined {
  const tried = state.light?.shot;
  return tried?.name === state.shot ? tried : state.drawing.shots.find((shot) => shot.name === state.shot);
}

const dot = (a: Point, b: Point) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];

/** By how much the value of a key has moved since the drawing was made. */
export function offsetOf(now: Value | undefined, then: Value | undefined): Point | null {
  if (!isPoint(now) || !isPoint(then)) return null;
  return [now[0] - then[0], now[1] - then[1], now[2] - then[2]];
}

export function setGrips(state: SetState): Grip[] {
  return [...shotGrips(state), ...railGrips(state), ...openingGrips(state), ...propGrips(state), ...lampGrips(state)];
}

/** A grip for a key that holds a point. */
function pointGrip(state: SetState, kind: string, key: Key, what: string, says: string, chosen: Key | null, drawnAt?: Point): Grip | null {
  const start = valueOf(state.scene, state.changes, key);
  if (!isPoint(start)) return null;
  return { ...placed(state, kind, key, what, says, chosen, start), at: flat(state.facing, drawnAt ?? start) };
}

function placed(state: SetState, kind: string, key: Key, what: string, says: string, chosen: Key | null, start: Point): Omit<Grip, "at"> {
  return {
    id: key.join("/"),
    kind,
    name: `${what}, ${placeSays(start)}`,
    says,
    chosen,
    move(by, deeper, how) {
      const at: Point = [...start];
      const { right, up, deep } = state.facing;
      at[right] = rounded(start[right] + by[0], how === "fine");
      at[up] = rounded(start[up] + by[1], how === "fine");
      if (deeper) at[deep] = rounded(start[deep] + deeper, how === "fine");
      const snapped = how === "drag" ? snap(state, key, at) : [];
      const met = snapped.map((line) => line.words);
      return { changes: [{ key, to: at }], words: [`${what}: ${placeSays(at)}`, ...met].join(" · "), guides: snapped.map((line) => guide(state, line, at)) };
    },
  };
}

/** Set the axes of `at` that come near a line onto it; return those lines. */
function snap(state: SetState, key: Key, at: Point): Line[] {
  const found: Line[] = [];
  for (const axis of [0, 1] as const) {
    const index = axis ? state.facing.up : state.facing.right;
    const near = linesOf(state, key)
      .filter((line) => line.axis === axis && Math.abs(line.at - at[index]!) <= state.snapMm)
      .sort((a, b) => Math.abs(a.at - at[index]!) - Math.abs(b.at - at[index]!))[0];
    if (!near) continue;
    at[index] = Math.round(near.at * 10) / 10;
    found.push(near);
  }
  return found;
}

function guide(state: SetState, line: Line, at: Point): Guide {
  const [low, high] = state.drawing.bounds;
  const here = flat(state.facing, at);
  const [a, b] = [flat(state.facing, low), flat(state.facing, high)];
  const other = line.axis ? 0 : 1;
  const [from, to] = [Math.min(a[other], here[other]), Math.max(b[other], here[other])];
  return line.axis ? { from: [from, line.at], to: [to, line.at] } : { from: [line.at, from], to: [line.at, to] };
}

function linesOf(state: SetState, key: Key): Line[] {
  const { drawing, facing, scene, changes } = state;
  const lines: Line[] = [];
  const add = (p: Flat, words: string) => lines.push({ axis: 0, at: p[0], words }, { axis: 1, at: p[1], words });
  for (const opening of (facing === PLAN ? drawing.plan : drawing.section).openings) {
    const [a, b] = opening.line;
    add([(a[0] + b[0]) / 2, (a[1] + b[1]) / 2], `in line with ${opening.name}`);
  }
  const own = key.slice(0, -1).join("\n");
  for (const lamp of lampsNow(state)) if (lamp.keys.at.slice(0, -1).join("\n") !== own) add(flat(facing, lamp.at), `in line with ${lamp.name}`);
  const subject = subjectOf(state);
  const at = valueOf(scene, changes, ["prop", subject ?? "", "at"]);
  if (subject && isPoint(at) && ["prop", subject].join("\n") !== own) add(flat(facing, at), `in line with ${subject}`);
  for (const end of ["from", "to"] as const) {
    const at = valueOf(scene, changes, ["slider", end]);
    if (isPoint(at) && !(key[0] === "slider" && key[1] === end)) add(flat(facing, at), `in line with the rail's ${end === "from" ? "start" : "end"}`);
  }
  lines.push({ axis: 0, at: 0, words: "in line with the datum" }, { axis: 1, at: 0, words: facing === PLAN ? "in line with the datum" : "level with the floor" });
  return lines;
}

/** Lamps as the chosen shot has them: what it says of its own is moved for this shot alone. */
function lampGrips(state: SetState): Grip[] {
  return lampsNow(state).flatMap((lamp) => {
    const chosen: Key = ["lamp", lamp.name];
    const where = (key: Key) => (key[0] === "shot" ? ` in ${state.shot}` : "");
    const { at, toward } = lamp.keys;
    const aim = lamp.out ? null : pointGrip(state, "aim", toward, `Where lamp ${lamp.name} points${where(toward)}`, `Point lamp ${lamp.name}${where(toward)}`, chosen);
    const stand = pointGrip(state, lamp.out ? "lamp-out" : "lamp", at, `Lamp ${lamp.name}${lamp.out ? `, out in ${state.shot}` : where(at)}`, `Move lamp ${lamp.name}${where(at)}`, chosen);
    return [aim, stand].filter((grip): grip is Grip => grip !== null);
  });
}

function railGrips(state: SetState): Grip[] {
  const ends = { from: "start", to: "end" } as const;
  return (["from", "to"] as const).flatMap((end) => pointGrip(state, "rail", ["slider", end], `Rail, ${ends[end]}`, `Move the rail's ${ends[end]}`, ["slider"]) ?? []);
}

const subjectOf = (state: SetState): string | undefined => state.drawing.shots.find((shot) => shot.name === state.shot)?.subject?.name;

function propGrips(state: SetState): Grip[] {
  const subject = subjectOf(state);
  const names = new Set<string>();
  if (subject) names.add(rowName(state.scene, "prop", subject));
  if (state.chosen?.[0] === "prop" && state.chosen[1]) names.add(state.chosen[1]);
  return [...names].flatMap((name) => pointGrip(state, "subject", ["prop", name, "at"], name === subject ? `Subject ${name}` : `Prop ${name}`, `Move ${name}`, ["prop", name]) ?? []);
}

/** Ends of the chosen shot and what it looks at: points, or places on the rail in millimetres from its first end. */
function shotGrips(state: SetState): Grip[] {
  const shot = state.drawing.shots.find((one) => one.name === state.shot);
  if (!shot) return [];
  const chosen: Key = ["shot", shot.name];
  const names = { from: "start", to: "end" } as const;
  const found: Grip[] = [];
  for (const end of ["from", "to"] as const) {
    const key = [...chosen, end];
    const value = valueOf(state.scene, state.changes, key);
    if (end === "to" && shot.move === "still") continue;
    const what = `Lens at the ${names[end]} of ${shot.name}`;
    const grip = pointGrip(state, "lens", key, what, `Move the ${names[end]} of ${shot.name}`, chosen);
    if (grip) found.push(grip);
    else if (typeof value === "number") {
      // where it was drawn, to which its own move is added; or where a turn that is tried out has swung it
      const still = value === valueOf(state.scene, [], key);
      found.push(...onRail(state, key, value, what, `Move the ${names[end]} of ${shot.name}`, chosen, poseAt((still && movingShot(state)) || shot, end === "from" ? 0 : shot.take_s).at));
    }
  }
  const look = pointGrip(state, "look", [...chosen, "look"], `What ${shot.name} looks at`, `Turn ${shot.name}`, chosen) ?? turnGrip(state, shot.name, chosen);
  return look ? [...found, look] : found;
}

/** The lens of a shot whose pan and tilt are typed: the plan turns its pan, the section its tilt. [degrees] */
function turnGrip(state: SetState, name: string, chosen: Key): Grip | null {
  const shot = movingShot(state);
  const [pan, tilt] = (["pan", "tilt"] as const).map((key) => valueOf(state.scene, state.changes, [...chosen, "look", key]));
  if (!shot || typeof pan !== "number" || typeof tilt !== "number") return null;
  const isPlan = state.facing === PLAN;
  const [which, start] = isPlan ? (["pan", pan] as const) : (["tilt", tilt] as const);
  const key = [...chosen, "look", which];
  const pose = poseAt(shot, state.takeS);
  const ahead = aheadOf(shot, pose);
  // on the rail a lens swings about the pan axis behind it; one whose places are typed as points stays where it is
  const reach = isPlan && typeof valueOf(state.scene, state.changes, [...chosen, "from"]) === "number" ? Number(valueOf(state.scene, state.changes, ["slider", "reach"]) ?? 0) : 0;
  const level = Math.hypot(pose.forward[0], pose.forward[1]) || 1;
  const axis: Point = [pose.at[0] - (reach * pose.forward[0]) / level, pose.at[1] - (reach * pose.forward[1]) / level, pose.at[2]];
  const spot = (to: number, far = ahead): Flat => {
    const [out, { forward }] = [turnedTo(isPlan ? to : pan, 0).forward, isPlan ? turnedTo(to, tilt) : turnedTo(pan, to)];
    return flat(state.facing, [0, 1, 2].map((i) => axis[i]! + reach * out[i]! + far * forward[i]!) as Point);
  };
  const pivot = flat(state.facing, axis);
  // in the section, what lies level is seen shortened by how far the lens is panned out of it
  const shortened = isPlan ? 1 : flat(state.facing, turnedTo(pan, 0).forward)[0];
  const turnTo = (place: Flat): number => {
    const [right, up] = [place[0] - pivot[0], place[1] - pivot[1]];
    const angle = isPlan ? degrees(Math.atan2(up, right)) : degrees(Math.atan2(up * Math.abs(shortened), Math.max(0, right * Math.sign(shortened))));
    return isPlan ? start + ((((angle - start) % 360) + 540) % 360) - 180 : angle;
  };
  const moved = (to: number, met: string[] = [], guides: Guide[] = []): Moved => ({ changes: [{ key, to }], words: [`${name}: ${which} ${figure(to)}°`, ...met].join(" · "), guides });
  const at = spot(start);
  const next = spot(start + 0.5);
  const way: Flat = [next[0] - at[0], next[1] - at[1]];
  const long = Math.hypot(...way) || 1;
  return {
    id: key.join("/"),
    kind: "turn",
    name: `Where ${name} looks, ${which} ${figure(start)}°`,
    at,
    says: `${isPlan ? "Pan" : "Tilt"} ${name}`,
    chosen,
    turn: degrees(Math.atan2(at[1] - pivot[1], at[0] - pivot[0])),
    along: [way[0] / long, way[1] / long],
    move(by, _, how) {
      const to = turnTo([at[0] + by[0], at[1] + by[1]]);
      const met = how === "drag" ? sightOf(state, turnTo, to, ahead) : null;
      if (met) return moved(rounded(met.to, true), [met.words], [{ from: spot(met.to, 0), to: met.at ?? spot(met.to) }]);
      return moved(rounded(to, how === "fine"));
    },
    turned: (by, fine) => moved(rounded(isPlan ? start + by : Math.max(-90, Math.min(90, start + by)), fine || !Number.isInteger(start))),
  };
}

/** What a lens that is turned to an angle comes near to looking straight at, or along; null where it does not. */
function sightOf(state: SetState, turnTo: (place: Flat) => number, angle: number, ahead: number): { to: number; words: string; at: Flat | null } | null {
  const isPlan = state.facing === PLAN;
  const seen = sights(state).map(({ at, words }) => ({ to: turnTo(at), words, at: at as Flat | null }));
  const level = isPlan ? [-180, -90, 0, 90, 180].map((one) => one + 360 * Math.round((angle - one) / 360)) : [0];
  seen.push(...level.map((to) => ({ to, words: isPlan ? "square to the set" : "level", at: null })));
  const off = (one: { to: number }) => (Math.abs(one.to - angle) * Math.PI * ahead) / 180;
  const near = seen.filter((one) => off(one) <= state.snapMm).sort((a, b) => off(a) - off(b));
  return near[0] ?? null;
}

/** Middles of openings, lamps and the subject on the sheet. */
function sights(state: SetState): { at: Flat; words: string }[] {
  const { drawing, facing, scene, changes } = state;
  const openings = (facing === PLAN ? drawing.plan : drawing.section).openings.map(({ name, line: [a, b] }) => ({ at: [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2] as Flat, name }));
  const lamps = lampsNow(state).map((lamp) => ({ at: flat(facing, lamp.at), name: lamp.name }));
  const subject = drawing.shots.find((shot) => shot.name === state.shot)?.subject;
  const by = subject && offsetOf(valueOf(scene, changes, ["prop", subject.name, "at"]), valueOf(scene, [], ["prop", subject.name, "at"]));
  const middle = subject && (subject.at.map((value, i) => value + (by?.[i] ?? 0)) as Point);
  const own = middle ? [{ at: flat(facing, middle), name: subject.name }] : [];
  return [...own, ...openings, ...lamps].map(({ at, name }) => ({ at, words: `straight at ${name}` }));
}

const degrees = (radians: number): number => (radians * 180) / Math.PI;

function onRail(state: SetState, key: Key, value: number, what: string, says: string, chosen: Key, drawnAt: Point): Grip[] {
  const [from, to] = (["from", "to"] as const).map((end) => valueOf(state.scene, state.changes, ["slider", end]));
  if (!isPoint(from) || !isPoint(to)) return [];
  const length = Math.hypot(to[0] - from[0], to[1] - from[1], to[2] - from[2]) || 1;
  const way = flat(state.facing, [(to[0] - from[0]) / length, (to[1] - from[1]) / length, (to[2] - from[2]) / length]);
  const square = way[0] ** 2 + way[1] ** 2;
  const then = valueOf(state.scene, [], key);
  const offset = typeof then === "number" ? value - then : 0;
  const here = flat(state.facing, drawnAt);
  const moved = (by: Flat, how: How): Moved => {
    const at = rounded(Math.min(length, Math.max(0, value + (by[0] * way[0] + by[1] * way[1]) / Math.max(square, 1e-9))), how === "fine");
    return { changes: [{ key, to: at }], words: `${what}: ${figure(at)} mm on the rail` };
  };
  // seen end on, the rail is a point and nothing can be dragged along it
  if (square < 0.05) return [];
  const at: Flat = [here[0] + offset * way[0], here[1] + offset * way[1]];
  return [{ id: key.join("/"), kind: "lens", name: `${what}, ${figure(value)} mm on the rail`, at, says, chosen, along: way, move: (by, _, how) => moved(by, how) }];
}

/** Openings, along their wall in the plan and upwards in the section; openings of a row move together. */
function openingGrips(state: SetState): Grip[] {
  const { scene, changes, facing, drawing } = state;
  const done = new Set<string>();
  return (facing === PLAN ? drawing.plan : drawing.section).openings.flatMap((opening) => {
    const name = rowName(scene, "opening", opening.name);
    const key = ["opening", name, "at"];
    const start = valueOf(scene, changes, key);
    const frame = panelFrame(scene, String(valueOf(scene, [], ["opening", name, "wall"]) ?? ""));
    if (done.has(name) || !isFlat(start) || !frame) return [];
    done.add(name);
    const directions = [frame.along, frame.up].map((axis) => flat(facing, axis));
    const free = directions.map((d) => Math.hypot(...d) > 0.3);
    if (!free[0] && !free[1]) return [];
    const offset = openingOffset(state, name);
    const [a, b] = opening.line;
    const middle: Flat = [(a[0] + b[0]) / 2 + offset[0], (a[1] + b[1]) / 2 + offset[1]];
    const grip: Grip = {
      id: key.join("/"),
      kind: "opening",
      name: `Opening ${name} in ${String(valueOf(scene, [], ["opening", name, "wall"]))}, ${figure(start[0])} along, ${figure(start[1])} up`,
      at: middle,
      says: `Move opening ${name}`,
      chosen: ["opening", name],
      move(by, _, how) {
        const at = start.map((value, i) => {
          const d = directions[i]!;
          return free[i] ? rounded(value + (by[0] * d[0] + by[1] * d[1]) / (d[0] ** 2 + d[1] ** 2), how === "fine") : value;
        }) as Flat;
        return { changes: [{ key, to: at }], words: `Opening ${name}: ${figure(at[0])} along, ${figure(at[1])} up` };
      },
    };
    if (free[0] !== free[1]) grip.along = directions[free[0] ? 0 : 1]!;
    return [grip];
  });
}

/** By how much an opening has moved on the sheet since the drawing was made. */
export function openingOffset(state: SetState, name: string): Flat {
  const row = rowName(state.scene, "opening", name);
  const [now, then] = [valueOf(state.scene, state.changes, ["opening", row, "at"]), valueOf(state.scene, [], ["opening", row, "at"])];
  const frame = panelFrame(state.scene, String(valueOf(state.scene, [], ["opening", row, "wall"]) ?? ""));
  if (!isFlat(now) || !isFlat(then) || !frame) return [0, 0];
  const [da, du] = [now[0] - then[0], now[1] - then[1]];
  return flat(state.facing, [0, 1, 2].map((i) => da * frame.along[i]! + du * frame.up[i]!) as Point);
}

/** How far a lamp stands from where it points. [mm] */
export const throwOf = (at: Point, toward: Point): number => {
  const step: Point = [at[0] - toward[0], at[1] - toward[1], at[2] - toward[2]];
  return Math.sqrt(dot(step, step));
};
