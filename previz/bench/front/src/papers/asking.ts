// The form of one thing that can be made: its options as fields, what is wrong said beside the field that it is about.

import { Refused, type Bench } from "../bench";
import { Ends, h } from "../dom";
import type { Job, Value } from "../protocol";
import { rowsOf } from "../words";
import { asSent, type Choice, type Verb } from "./verbs";

type Read = () => string | boolean;
interface Asked {
  choice: Choice;
  row: HTMLElement;
  read: Read;
  wrong(says: string): void;
}

export function card(bench: Bench, asking: Verb, ends: Ends): HTMLElement {
  const { verb, title, says, press, fixed, options } = asking;
  const asked = options.map((choice) => field(bench, `${title.toLowerCase().replace(/ /g, "-")}-${choice.name}`, choice, ends));
  const fault = h("p", { class: "fault", role: "alert" });
  const button = h("button", { class: "strong", "aria-label": `${press}: ${title}` }, press);
  let mine: string | null = null;
  // What only the work itself finds wrong is said here too: the maker is still looking at what was typed.
  ends.add(
    bench.jobs.on((jobs) => {
      const job = mine === null ? undefined : jobs.find((one) => one.job === mine);
      if (!job || job.state === "waiting" || job.state === "running") return;
      mine = null;
      if (job.state === "failed") tell(...byOption(job));
    }),
  );
  const form = h("form", { novalidate: true, onsubmit: (event: SubmitEvent) => { event.preventDefault(); void start(); } }, ...asked.map(({ row }) => row), fault, button);
  return h("details", { class: "card" }, h("summary", {}, h("strong", {}, title), h("span", { class: "quiet" }, says)), form);

  async function start(): Promise<void> {
    tell({}, "");
    const told: Record<string, Value> = { ...fixed };
    const wrong: Record<string, string> = {};
    for (const { choice, read } of asked) {
      const value = asSent(choice, read());
      if (choice.needed && value === undefined) wrong[choice.name] = `Please fill this in${choice.hint ? `, like ${choice.hint}` : ""}.`;
      else if (typeof value === "number" && !Number.isFinite(value)) wrong[choice.name] = "This must be a number.";
      else if (value !== undefined) told[choice.name] = value;
    }
    if (Object.keys(wrong).length) return tell(wrong, "");
    button.disabled = true;
    try {
      const job = await bench.fetchJson<Job>("api/jobs", { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify({ verb, options: told }) });
      mine = job.job;
      bench.say(`${title}: begun.`);
    } catch (refusal) {
      if (refusal instanceof Refused && Object.keys(refusal.options).length) tell(refusal.options, "");
      else tell({}, refusal instanceof Error ? refusal.message : String(refusal));
    } finally {
      button.disabled = false;
    }
  }

  /** Say what is wrong with fields by their names, and what is left; go to the first field that is wrong. */
  function tell(wrong: Record<string, string>, left: string): void {
    const over = Object.entries(wrong).filter(([name]) => !asked.some(({ choice }) => choice.name === name));
    fault.textContent = [...over.map(([name, text]) => `${name}: ${text}`), left].filter(Boolean).join(" ");
    for (const { choice, wrong: show } of asked) show(wrong[choice.name] ?? "");
    form.querySelector<HTMLElement>('[aria-invalid="true"]')?.focus();
  }
}

/** What a job found wrong, by option where its words begin with one. */
function byOption({ says }: Job): [Record<string, string>, string] {
  const named = /^--([a-z]+) (.*)$/s.exec(says);
  return named ? [{ [named[1]!]: named[2]! }, ""] : [{}, says];
}

function field(bench: Bench, id: string, choice: Choice, ends: Ends): Asked {
  const { input, read, shown } = entry(bench, id, choice, ends);
  const fault = h("p", { class: "fault", id: `${id}-fault`, role: "alert" });
  const hint = choice.hint ? h("p", { class: "help", id: `${id}-help` }, choice.hint) : null;
  input.setAttribute("aria-describedby", [hint && `${id}-help`, `${id}-fault`].filter(Boolean).join(" "));
  const wrong = (says: string): void => {
    fault.textContent = says;
    if (says) input.setAttribute("aria-invalid", "true");
    else input.removeAttribute("aria-invalid");
  };
  if (choice.kind === "several") return { choice, read, wrong, row: h("div", { class: "option" }, shown, fault) };
  const label = h("label", { for: id }, choice.label);
  return { choice, read, wrong, row: h("div", { class: `option kind-${choice.kind}` }, ...(choice.kind === "switch" ? [shown, label] : [label, shown]), hint, fault) };
}

interface Entry {
  /** What is told to be wrong. */
  input: HTMLElement;
  shown: HTMLElement;
  read: Read;
}

function entry(bench: Bench, id: string, choice: Choice, ends: Ends): Entry {
  switch (choice.kind) {
    case "switch": {
      const input = h("input", { id, type: "checkbox", checked: choice.start === true });
      return { input, shown: input, read: () => input.checked };
    }
    case "several": {
      const start = String(choice.start ?? "").split(",");
      const boxes = choice.choices!.map((one) => h("input", { id: `${id}-${one}`, type: "checkbox", value: one, checked: start.includes(one) }));
      const shown = h("fieldset", { class: "several" }, h("legend", {}, choice.label), ...boxes.map((box) => h("span", { class: "choice" }, box, h("label", { for: box.id }, box.value))));
      return { input: shown, shown, read: () => boxes.filter(({ checked }) => checked).map(({ value }) => value).join(",") };
    }
    case "choice":
    case "shot":
    case "lamp":
    case "wall":
      return names(bench, id, choice, ends);
    case "lines":
    case "wish": {
      const input = h("textarea", { id, rows: 2, spellcheck: "false" });
      if (choice.kind === "wish")
        ends.add(
          bench.scene.on(({ scene }) => {
            const [opening, prop] = [rowsOf(scene, "opening")[0]?.name, rowsOf(scene, "prop")[0]?.name];
            if (!input.value && opening && prop) input.value = `${opening} > ${prop}`;
          }),
        );
      return { input, shown: input, read: () => input.value };
    }
    default:
      return typed(bench, id, choice, ends);
  }
}

/** One of some words, or of the names of the file's things; a shot is the one that is looked at until another is chosen. */
function names(bench: Bench, id: string, choice: Choice, ends: Ends): Entry {
  const select = h("select", { id }, ...(choice.choices ?? []).map((one) => h("option", { selected: one === choice.start }, one)));
  const fill = (all: string[]): void => {
    const kept = select.value;
    if (all.join("\n") === [...select.options].map(({ value }) => value).filter(Boolean).join("\n")) return;
    select.replaceChildren(...(choice.none ? [h("option", { value: "" }, choice.none)] : []), ...all.map((name) => h("option", { selected: name === kept }, name)));
  };
  if (choice.kind !== "choice") ends.add(bench.scene.on((doc) => fill(choice.kind === "wall" ? (doc.names.wall ?? []) : rowsOf(doc.scene, choice.kind).map(({ name = "" }) => name))));
  if (choice.kind === "shot" && !choice.none) ends.add(bench.shot.on((shot) => void (select.value = shot)));
  return { input: select, shown: select, read: () => select.value };
}

function typed(bench: Bench, id: string, choice: Choice, ends: Ends): Entry {
  const numeric = choice.kind === "number" || choice.kind === "whole" || choice.kind === "moment";
  const input = h("input", { id, type: numeric ? "number" : "text", step: choice.kind === "whole" ? 1 : "any", value: choice.start === undefined ? null : String(choice.start), spellcheck: "false", autocomplete: "off", list: choice.kind === "target" ? `${id}-words` : null });
  const words = h("datalist", { id: `${id}-words` });
  if (choice.kind === "target") ends.add(bench.scene.on(({ scene }) => words.replaceChildren(...rowsOf(scene, "prop").map(({ name = "" }) => h("option", { value: name })))));
  let touched = false;
  input.addEventListener("input", () => {
    touched = input.value !== "";
  });
  if (choice.kind === "moment") ends.add(bench.takeS.on((takeS) => { if (!touched) input.value = takeS.toFixed(3); }));
  return { input, shown: choice.kind === "target" ? h("span", { class: "target" }, input, words) : input, read: () => (numeric && input.validity.badInput ? "not a number" : input.value) };
}
