// Every key of the thing that is chosen, to be typed: what a drag does by hand, this does by keyboard.

import type { Bench, Mount } from "../bench";
import { Ends, h } from "../dom";
import type { Key, Row, Value } from "../protocol";
import { Keys, type Field, type Schema } from "../schema";
import { ROW_TABLES, SINGLE_TABLES, faultWords, keyWords, rowAt, rowsOf } from "../words";
import { editor, type Editor } from "./fields";

const TABLE_WORDS: Record<string, string> = { lamp: "Lamps", opening: "Openings", prop: "Props", shot: "Shots", room: "Rooms", finish: "Finishes" };
const THE_FILE = "the file";
const FILE_KEYS = ["title", "scale", "seed"];

export const thing: Mount = (host, bench) => {
  const ends = new Ends();
  const picker = h("select", { "aria-label": "Thing", onchange: () => bench.chosen.set(JSON.parse(picker.value) as Key) });
  const another = h("button", { onclick: () => void copy() }, "Another like it");
  const away = h("button", { onclick: () => void remove() }, "Take it away");
  const main = h("div", { class: "fields" });
  const rest = h("div", { class: "fields" });
  const more = h("details", {}, h("summary", {}, "More keys"), rest);
  const element = h("div", { class: "thing" }, h("div", { class: "row" }, picker, another, away), main, more);
  host.append(element);

  let keys: Keys | null = null;
  let editors: Editor[] = [];
  void bench.fetchJson<Schema>("api/keys").then((schema) => {
    keys = new Keys(schema);
    draw();
  }, () => undefined);

  const chosenKey = (): Key => bench.chosen.get() ?? firstThing(bench);

  function fillPicker(): void {
    const { scene } = bench.scene.get();
    const option = (key: Key, words: string): HTMLOptionElement => h("option", { value: JSON.stringify(key) }, words);
    const finishes = Object.keys((scene.finish as Record<string, Row> | undefined) ?? {});
    picker.replaceChildren(
      ...ROW_TABLES.map((table) => h("optgroup", { label: TABLE_WORDS[table]! }, ...rowsOf(scene, table).map(({ name = "" }) => option([table, name], name)))).filter((group) => group.children.length),
      h("optgroup", { label: "Air and kit" }, ...SINGLE_TABLES.filter((table) => scene[table]).map((table) => option([table], table))),
      h("optgroup", { label: TABLE_WORDS.finish! }, ...finishes.map((name) => option(["finish", name], name))),
      option([], THE_FILE),
    );
    picker.value = JSON.stringify(chosenKey());
  }

  function draw(): void {
    if (editors.some(({ dirty }) => dirty())) return;
    const { scene, rev } = bench.scene.get();
    fillPicker();
    const key = chosenKey();
    const row = key.length ? rowAt(scene, key) : (scene as Row);
    const focused = document.activeElement instanceof HTMLElement && element.contains(document.activeElement) ? document.activeElement.dataset.at : undefined;
    another.hidden = away.hidden = !(ROW_TABLES as readonly string[]).includes(key[0] ?? "");
    if (!keys || !row) {
      main.replaceChildren(h("p", { class: "quiet" }, row ? "" : `There is no ${keyWords(key)} any more.`));
      more.hidden = true;
      return;
    }
    const fields = key.length ? keys.fields(key[0]!, row) : keys.file(FILE_KEYS);
    const made = fields.map((field) => ({ field, editor: editor(field, row[field.key] ?? null, suggestions(field), { change: (to) => change(key, field, to, rev), tried: (to) => tried(key, field, to) }) }));
    editors = made.map((one) => one.editor);
    const set = made.filter(({ field }) => field.required || !same(row[field.key] ?? null, field.preset));
    const unset = made.filter((one) => !set.includes(one));
    main.replaceChildren(...(set.length ? set : unset).map((one) => one.editor.element));
    rest.replaceChildren(...(set.length ? unset : []).map((one) => one.editor.element));
    more.hidden = !rest.children.length;
    if (focused) element.querySelector<HTMLElement>(`[data-at="${CSS.escape(focused)}"]`)?.focus({ preventScroll: true });
  }

  /** Names that a key of words may hold: those of the file's own things. */
  function suggestions(field: Field): string[] {
    const { scene } = bench.scene.get();
    const names = (...tables: string[]): string[] => tables.flatMap((table) => rowsOf(scene, table).map(({ name = "" }) => name));
    if (field.key === "toward") return names("opening", "prop");
    if (["look", "subject", "focus"].includes(field.key)) return names("prop");
    if (field.key === "white") return names("lamp");
    if (field.key === "finish") return Object.keys((scene.finish as object | undefined) ?? {});
    if (field.key === "wall") return bench.drawing.get()?.walls.map(({ name }) => name) ?? [];
    return [];
  }

  function tried(key: Key, field: Field, to: Value | undefined): void {
    bench.tryOut(to === undefined ? [] : [{ key: [...key, field.key], to }]);
  }

  async function change(key: Key, field: Field, to: Value, seen: number): Promise<string[]> {
    const outcome = await bench.edit([{ key: [...key, field.key], to }], `Set ${field.key} of ${keyWords(key)}`, seen);
    if (outcome.done === "refused") return outcome.faults.map(faultWords);
    if (field.key === "name" && outcome.done === "accepted" && typeof to === "string" && key.length === 2) bench.chosen.set([key[0]!, to]);
    return [];
  }

  async function copy(): Promise<void> {
    const [table, name] = chosenKey() as [string, string];
    const { scene } = bench.scene.get();
    const row = rowAt(scene, [table, name]);
    if (!row || !keys) return;
    const taken = new Set(rowsOf(scene, table).map((one) => one.name));
    let number = 2;
    while (taken.has(`${name} ${number}`)) number += 1;
    const called = `${name} ${number}`;
    const presets = new Map(keys.fields(table, row).map(({ key, preset }) => [key, preset]));
    const told = Object.entries(row).filter(([key, value]) => value !== null && value !== undefined && key !== "name" && !same(value, presets.get(key) ?? null)) as [string, Value][];
    const outcome = await bench.edit([{ key: [table, called], to: { name: called, ...Object.fromEntries(told) } }], `Add ${table} ${called}`);
    if (outcome.done === "accepted") bench.chosen.set([table, called]);
  }

  async function remove(): Promise<void> {
    const key = chosenKey();
    const outcome = await bench.edit([{ key, to: null }], `Take ${keyWords(key)} away`);
    if (outcome.done !== "accepted") return;
    bench.chosen.set(null);
    bench.say(`${keyWords(key)} is taken away. Undo brings it back.`);
  }

  ends.add(bench.scene.on(draw), bench.chosen.on(draw));
  return ends.paper(element);
};

function firstThing(bench: Bench): Key {
  const { scene } = bench.scene.get();
  for (const table of ROW_TABLES) {
    const name = rowsOf(scene, table)[0]?.name;
    if (name) return [table, name];
  }
  return [];
}

function same(one: Value, other: Value): boolean {
  return JSON.stringify(one) === JSON.stringify(other) || (Array.isArray(one) && !one.length && other === null);
}
