// What is being made and what came of it: progress, a way to stop, words, files, pictures, and an answer that can go into the file.

import { parse } from "smol-toml";
import type { Bench } from "../bench";
import { h } from "../dom";
import type { Change, Job, Row, Scene, Value } from "../protocol";
import { keyWords, rowsOf } from "../words";
import { askedFor, verbOf } from "./verbs";

const PICTURE = /\.(png|webp|jpe?g|svg)$/i;
const FILM = /\.(mp4|webm)$/i;
const PAGE = /\.html$/i;
/** Scenes with an answer in them. */
const ANSWER = /^(aimed|layout-\d+)\.toml$/;
const MOST_PRINTS = 12;
const STATE_WORDS: Record<Job["state"], string> = { waiting: "waits for its turn", running: "at work", done: "done", failed: "not done", cancelled: "stopped" };

export interface Made {
  element: HTMLElement;
  show(job: Job): void;
  /** Make room for a newer one; what is still at work stays in sight, with its way to stop. */
  fold(): void;
}

/** One job of the list; it is changed in place, so that whoever is about to press Stop keeps the button. */
export function made(bench: Bench, first: Job): Made {
  const title = verbOf(first)?.title ?? first.verb;
  const asked = askedFor(first.options);
  const state = h("span", { class: "state" });
  const stop = h("button", { type: "button", "aria-label": `Stop ${title}`, onclick: () => void cancel() }, "Stop");
  const bar = h("progress", { max: 1, "aria-label": `${title}: progress` });
  const doing = h("p", { class: "quiet" });
  const results = h("div", { class: "came" });
  const folded = h("details", { open: true }, h("summary", {}, h("strong", {}, title), " ", state, asked ? h("span", { class: "quiet asked" }, asked) : null), h("div", { class: "row" }, bar, stop), doing, results);
  const element = h("li", {}, folded);
  let told = "";
  show(first);
  return { element, show, fold: () => void (folded.open &&= !stop.hidden) };

  function show(job: Job): void {
    const busy = job.state === "waiting" || job.state === "running";
    element.className = `job ${job.state}`;
    state.textContent = STATE_WORDS[job.state];
    if (!busy && document.activeElement === stop) folded.querySelector("summary")?.focus();
    bar.hidden = stop.hidden = doing.hidden = !busy;
    if (job.share) bar.value = job.share;
    else bar.removeAttribute("value");
    doing.textContent = job.state === "running" ? (job.says ? `${job.says}${job.share === null ? "" : `, ${Math.round(100 * job.share)} %`}` : "begins") : "";
    const now = busy ? "" : JSON.stringify(job);
    if (now === told) return;
    told = now;
    results.replaceChildren(...(busy ? [] : came(job)));
  }

  function came(job: Job): HTMLElement[] {
    const address = (name: string): string => `api/jobs/${encodeURIComponent(job.job)}/files/${encodeURIComponent(name)}`;
    const link = (name: string, ...shown: (string | Node)[]): HTMLElement => h("a", { href: address(name), target: "_blank", rel: "noreferrer" }, ...(shown.length ? shown : [name]));
    const answers = job.files.filter((name) => ANSWER.test(name));
    const pictures = job.files.filter((name) => PICTURE.test(name));
    const pages = job.files.filter((name) => PAGE.test(name));
    const rest = job.files.filter((name) => !PAGE.test(name));
    return [
      job.says ? h("pre", { class: "told", tabindex: 0, role: "region", "aria-label": `${title}: what it says` }, job.says) : null,
      answers.length ? h("div", { class: "buttons" }, ...answers.map((name) => h("button", { type: "button", class: "strong", onclick: () => void putIn(job, name, address(name)) }, answers.length > 1 ? `Put ${name.replace(".toml", "")} into the file` : "Put it into the file"))) : null,
      ...pages.map((name) => h("p", {}, link(name, "Look at all of it on one page"))),
      ...job.files.filter((name) => FILM.test(name)).map((name) => h("video", { src: address(name), controls: true, muted: true, loop: true, playsinline: true, "aria-label": name })),
      pictures.length ? h("div", { class: "prints" }, ...pictures.slice(0, MOST_PRINTS).map((name) => link(name, h("img", { src: address(name), alt: name, loading: "lazy" })))) : null,
      rest.length ? h("ul", { class: "results" }, ...rest.map((name) => h("li", {}, link(name)))) : null,
      job.again ? h("p", { class: "quiet" }, "Files of it were written again by a later one.") : null,
    ].filter((one) => one !== null);
  }

  async function cancel(): Promise<void> {
    await bench.fetchJson(`api/jobs/${encodeURIComponent(first.job)}`, { method: "DELETE" }).catch((fault: Error) => bench.say(fault.message, "assertive"));
  }

  async function putIn(job: Job, name: string, address: string): Promise<void> {
    try {
      const answer = parse(new TextDecoder().decode(await bench.fetchBuffer(address))) as Scene;
      const changes = differences(bench.scene.get().text, answer, job.options);
      if (!changes.length) return bench.say("The file has it already.");
      const outcome = await bench.edit(changes, `${title}: ${asked || name}`);
      if (outcome.done === "accepted") bench.say(`In the file now: ${[...new Set(changes.map(({ key }) => keyWords(key.slice(0, 2))))].join(", ")}. Undo takes it back.`);
    } catch (fault) {
      bench.say(fault instanceof Error ? fault.message : String(fault), "assertive");
    }
  }
}

/** What an answer changes of the file as it is now: the lamp that was aimed, the openings that were looked for, and nothing else. */
export function differences(text: string, answer: Scene, options: Record<string, Value>): Change[] {
  const now = parse(text) as Scene;
  const lamp = String(options.lamp ?? rowsOf(now, "lamp")[0]?.name ?? "");
  const about: [string, (row: Row) => boolean][] = [
    ["lamp", ({ name }) => options.open === undefined && name === lamp],
    ["opening", () => options.open !== undefined || options.shafts !== undefined],
  ];
  return about.flatMap(([table, meant]) =>
    rowsOf(answer, table).filter((row) => row.name !== undefined && meant(row)).flatMap((row): Change[] => {
      const before = rowsOf(now, table).find(({ name }) => name === row.name);
      if (!before) return [{ key: [table, row.name!], to: row as Value }];
      return Object.entries(row).filter(([key, value]) => JSON.stringify(value) !== JSON.stringify(before[key])).map(([key, value]) => ({ key: [table, row.name!, key], to: value as Value }));
    }),
  );
}
