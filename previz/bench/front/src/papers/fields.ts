// One key of the file as something to type into: numbers with their places, words to choose from, or as in the file.

import { parse } from "smol-toml";
import { h } from "../dom";
import type { Value } from "../protocol";
import type { Field } from "../schema";
import { asTyped, shortNumber } from "../words";

export interface Editor {
  element: HTMLElement;
  /** Whether something is typed that is not in the file yet. */
  dirty(): boolean;
}
export interface Answers {
  /** Put it into the file; what is wrong with it, in the maker's words. */
  change(to: Value): Promise<string[]>;
  /** Show it while it is being changed; undefined: it is left as it was. */
  tried(to: Value | undefined): void;
}

/** Steps of the arrow keys come quickly: they are one edit. */
const STEPS_TOGETHER_MS = 500;
const PLACES: Record<string, string[]> = { "at:2": ["along", "up"], "size:2": ["width", "height"], "size:3": ["width", "depth", "height"], "lift:2": ["from", "to"], "resolution:2": ["columns", "rows"], "sensor:2": ["width", "height"] };
const placesOf = (key: string, count: number): string[] => PLACES[`${key}:${count}`] ?? (count === 1 ? [""] : ["x", "y", "z"].slice(0, count));

let made = 0;

export function editor(field: Field, value: Value, suggestions: string[], answers: Answers): Editor {
  const id = `field-${++made}`;
  const fault = h("p", { class: "fault", id: `${id}-fault`, role: "alert" });
  const help = h("p", { class: "help", id: `${id}-help` }, field.says);
  const parts = inputs(field, value, suggestions, id);
  const element = h("div", { class: "field", role: "group", "aria-label": field.key, "data-key": field.key }, h("label", { for: parts.all[0]!.id }, field.key.replace(/_/g, " ")), h("div", { class: "inputs" }, ...parts.shown), help, fault);
  let changed = false;
  let timer: ReturnType<typeof setTimeout> | undefined;

  function read(): { to: Value } | { wrong: string } {
    try {
      return { to: parts.read() };
    } catch (wrong) {
      return { wrong: wrong instanceof Error ? wrong.message : String(wrong) };
    }
  }

  async function commit(): Promise<void> {
    clearTimeout(timer);
    if (!changed) return;
    const told = read();
    if ("wrong" in told) return show([told.wrong]);
    if (told.to === null && field.required) return show([`${field.key} cannot be left out.`]);
    changed = false;
    if (JSON.stringify(told.to) === JSON.stringify(value)) return answers.tried(undefined);
    show(await answers.change(told.to));
  }

  function show(wrong: string[]): void {
    fault.textContent = wrong.join(" ");
    for (const input of parts.all) {
      if (wrong.length) input.setAttribute("aria-invalid", "true");
      else input.removeAttribute("aria-invalid");
    }
  }

  function back(): void {
    clearTimeout(timer);
    changed = false;
    parts.write(value);
    answers.tried(undefined);
    show([]);
  }

  for (const [index, input] of parts.all.entries()) {
    input.dataset.at = `${field.key}.${index}`;
    input.setAttribute("aria-describedby", `${id}-help ${id}-fault`);
    input.addEventListener("input", () => {
      changed = true;
      const told = read();
      if (parts.live && "to" in told && told.to !== null) answers.tried(told.to);
    });
    input.addEventListener("change", () => {
      clearTimeout(timer);
      timer = setTimeout(() => void commit(), parts.live ? STEPS_TOGETHER_MS : 0);
    });
    input.addEventListener("blur", () => void commit());
    input.addEventListener("keydown", (event) => {
      const { key } = event as KeyboardEvent;
      if (key === "Escape" && changed) back();
      if (key === "Enter") void commit();
    });
  }
  return { element, dirty: () => changed };
}

interface Inputs {
  all: (HTMLInputElement | HTMLSelectElement)[];
  shown: HTMLElement[];
  /** Whether it may be shown while it changes. */
  live: boolean;
  read(): Value;
  write(value: Value): void;
}

function inputs(field: Field, value: Value, suggestions: string[], id: string): Inputs {
  const numbers = Array.isArray(value) && value.every((one) => typeof one === "number") ? value.length : typeof value === "number" ? 1 : 0;
  const only = field.counts.length === 1 && !field.takesText && !field.takesMore && !field.choices.length ? field.counts[0]! : 0;
  const count = field.counts.includes(numbers) ? numbers : value === null ? only : 0;
  if (count) return numberInputs(field, value, count, id);
  if (typeof value === "boolean" && !field.takesMore) return switchInput(value, id);
  if (field.choices.length && !field.takesMore && !field.takesText && !field.counts.length && (value === null || typeof value === "string")) return choiceInput(field, value, id);
  return typedInput(field, value, suggestions, id);
}

function numberInputs(field: Field, value: Value, count: number, id: string): Inputs {
  const all = placesOf(field.key, count).map((place, index) =>
    h("input", { id: `${id}-${index}`, type: "number", step: "any", inputmode: "decimal", min: field.min, max: field.max, "aria-label": `${field.key} ${place}`.trim() }));
  const write = (to: Value): void => {
    const held = Array.isArray(to) ? to : [to];
    for (const [index, input] of all.entries()) input.value = typeof held[index] === "number" ? shortNumber(held[index], 6) : "";
  };
  write(value);
  return {
    all,
    shown: all.map((input, index) => (count > 1 ? h("span", { class: "place" }, h("span", { "aria-hidden": "true" }, placesOf(field.key, count)[index]!), input) : input)),
    live: true,
    read() {
      if (all.every((input) => input.value === "" && !input.validity.badInput)) return null;
      const read = all.map((input) => (input.value === "" ? NaN : Number(input.value)));
      if (read.some(Number.isNaN)) throw new Error("Give a number in each place.");
      return count === 1 ? read[0]! : read;
    },
    write,
  };
}

function switchInput(value: boolean, id: string): Inputs {
  const input = h("input", { id: `${id}-0`, type: "checkbox", checked: value });
  return { all: [input], shown: [input], live: false, read: () => input.checked, write: (to) => void (input.checked = to === true) };
}

function choiceInput(field: Field, value: Value, id: string): Inputs {
  const input = h("select", { id: `${id}-0` }, ...(field.required ? [] : [h("option", { value: "" }, "(default)")]), ...field.choices.map((choice) => h("option", { value: choice }, choice)));
  const write = (to: Value): void => void (input.value = typeof to === "string" ? to : "");
  write(value);
  return { all: [input], shown: [input], live: false, read: () => input.value || null, write };
}

/** Typed as in the file; a name needs no quotation marks. */
function typedInput(field: Field, value: Value, suggestions: string[], id: string): Inputs {
  const words = [...field.choices, ...suggestions];
  const input = h("input", { id: `${id}-0`, type: "text", spellcheck: "false", autocomplete: "off", list: words.length ? `${id}-words` : null, placeholder: value === null ? "not set" : "" });
  const write = (to: Value): void => void (input.value = to === null ? "" : typeof to === "string" ? to : asTyped(to));
  write(value);
  const list = words.length ? [h("datalist", { id: `${id}-words` }, ...words.map((word) => h("option", { value: word })))] : [];
  return {
    all: [input],
    shown: [input, ...list],
    live: false,
    read() {
      const text = input.value.trim();
      if (!text) return null;
      if (field.takesText && !field.counts.length && !field.takesMore && !field.takesSwitch) return text;
      if ((field.takesText || field.choices.length) && !/^[[{"'\d+-]/.test(text)) return text;
      try {
        return parse(`v = ${text}`).v as Value;
      } catch {
        if (field.takesText) return text;
        throw new Error("This cannot be read: write it as in the file, like [10, 20] or { columns = 2 }.");
      }
    },
    write,
  };
}
