// The move played by the browser, and the levels that can be tried on it: exposure, haze, each lamp.

import type { Bench } from "../bench";
import { h } from "../dom";
import type { Change, Row } from "../protocol";
import { rowAt, shortNumber } from "../words";
import { Player } from "./player";

export interface Levels {
  player: Player;
  canvas: HTMLCanvasElement;
  panel: HTMLElement;
  dispose(): void;
}

const round = (value: number): number => Number(value.toPrecision(3));
const LEVEL_KEYS = ["lux_at_1m", "candela", "lumens"] as const;

/** Fetch the shot's pack and make what plays it; `redraw` is called when a level moves. Throws in words for the maker. */
export async function levels(bench: Bench, shot: string, redraw: () => void): Promise<Levels> {
  const canvas = h("canvas", { class: "played", "aria-label": "The move, played" });
  const player = new Player(canvas, await bench.fetchBuffer(`api/play?shot=${encodeURIComponent(shot)}`));
  const { lamps } = player.header;
  const resets: (() => void)[] = [];

  function level(label: string, range: { min: number; max: number; step: number; start: number }, words: (value: number) => string, set: (value: number) => void): HTMLElement {
    const shown = h("output", {}, words(range.start));
    const input = h("input", { type: "range", min: range.min, max: range.max, step: range.step, value: range.start, "aria-label": label, oninput: changed });
    function changed(): void {
      shown.textContent = words(Number(input.value));
      input.setAttribute("aria-valuetext", shown.textContent);
      set(Number(input.value));
      redraw();
    }
    resets.push(() => {
      input.value = String(range.start);
      changed();
    });
    return h("label", { class: "level-row" }, h("span", {}, label), input, shown);
  }

  const times = (value: number): string => `× ${shortNumber(value, 2)}`;
  const stops = (value: number): string => `${value > 0 ? "+" : ""}${shortNumber(value, 1)} stops`;
  const panel = h(
    "fieldset",
    { class: "levels" },
    h("legend", {}, "Levels to try"),
    level("exposure", { min: -4, max: 4, step: 0.1, start: 0 }, stops, (value) => (player.exposureStops = value)),
    level("haze", { min: 0, max: 3, step: 0.05, start: 1 }, times, (value) => (player.haze = value)),
    ...lamps.map((name, index) => level(`lamp ${name}`, { min: 0, max: 2, step: 0.05, start: 1 }, times, (value) => (player.levels[index] = value))),
    h("div", { class: "buttons" },
      h("button", { type: "button", onclick: () => resets.forEach((reset) => reset()) }, "As in the file"),
      h("button", { type: "button", onclick: () => void keep() }, "Put them into the file")),
  );

  async function keep(): Promise<void> {
    const changes = asChanges(bench, shot, player.exposureStops, player.haze, lamps.map((name, index) => [name, player.levels[index] ?? 1]));
    if (!changes.length) return bench.say("The levels are those of the file.");
    const outcome = await bench.edit(changes, "Take over levels that were tried");
    if (outcome.done === "accepted") bench.say("The levels are in the file.");
  }

  return {
    player,
    canvas,
    panel,
    dispose() {
      player.dispose();
      canvas.remove();
      panel.remove();
    },
  };
}

/** What the levels come to in the file: ISO of the shot, density of the haze, dimming of a lamp (its level where it was dimmed full already). */
export function asChanges(bench: Bench, shot: string, stops: number, haze: number, lamps: [string, number][]): Change[] {
  const scene = bench.scene.get().scene;
  const changes: Change[] = [];
  const iso = rowAt(scene, ["shot", shot])?.iso;
  if (stops && typeof iso === "number") changes.push({ key: ["shot", shot, "iso"], to: round(iso * 2 ** stops) });
  const air = rowAt(scene, ["haze"]);
  if (haze !== 1 && typeof air?.extinction === "number") changes.push({ key: ["haze", "extinction"], to: round(air.extinction * haze) });
  else if (haze > 0 && haze !== 1 && typeof air?.visibility === "number") changes.push({ key: ["haze", "visibility"], to: round(air.visibility / haze) });
  for (const [name, factor] of lamps) {
    const row = rowAt(scene, ["lamp", name]);
    if (!row || factor === 1) continue;
    // A lamp that the shot has otherwise is changed there, so that other shots stay as they are.
    const own = (rowAt(scene, ["shot", shot])?.lamps as Record<string, Row> | undefined)?.[name];
    const place = (key: string): { key: string[]; value: unknown } =>
      typeof own?.[key] === "number" ? { key: ["shot", shot, "lamps", name, key], value: own[key] } : { key: ["lamp", name, key], value: row[key] };
    const dim = place("dim");
    const now = typeof dim.value === "number" ? dim.value : 1;
    const level = LEVEL_KEYS.map(place).find(({ value }) => typeof value === "number");
    if (now * factor <= 1) changes.push({ key: dim.key, to: round(now * factor) });
    else if (level) changes.push({ key: level.key, to: round((level.value as number) * factor) });
  }
  return changes;
}
