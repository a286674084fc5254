// Papers to make: a button for each, its progress, its end, and what came of it.

import type { Bench, Mount } from "../bench";
import { Ends, h } from "../dom";
import type { Job, Value } from "../protocol";
import { rowsOf } from "../words";
import { VERBS, asSent, type Choice, type Verb } from "./verbs";

const PICTURE = /\.(png|webp|jpe?g|svg)$/i;
const FILM = /\.(mp4|webm)$/i;
const STATE_WORDS: Record<Job["state"], string> = { waiting: "waits for its turn", running: "at work", done: "done", failed: "not done", cancelled: "stopped" };

export const jobs: Mount = (host, bench) => {
  const ends = new Ends();
  const list = h("ul", { class: "jobs" });
  const element = h("div", { class: "making" }, ...VERBS.map((verb) => card(bench, verb, ends)), list);
  host.append(element);
  const shown = new Map<string, { told: string; item: HTMLElement }>();

  ends.add(
    bench.jobs.on((now) => {
      const items = now.map((job) => {
        const told = JSON.stringify(job);
        const before = shown.get(job.job);
        if (before?.told === told) return before.item;
        const item = jobItem(bench, job);
        shown.set(job.job, { told, item });
        return item;
      });
      list.replaceChildren(...items);
    }),
  );
  return ends.paper(element);
};

function card(bench: Bench, { verb, title, says, options }: Verb, ends: Ends): HTMLElement {
  const asked = options.map((choice) => ({ choice, ...asking(bench, verb, choice, ends) }));
  const fault = h("p", { class: "fault", role: "alert" });
  return h(
    "details",
    { class: "card" },
    h("summary", {}, h("strong", {}, title), h("span", { class: "quiet" }, says)),
    h(
      "form",
      { onsubmit: (event: SubmitEvent) => { event.preventDefault(); void start(); } },
      ...asked.map(({ row }) => row),
      fault,
      h("button", { class: "strong" }, verb === "aim" || verb === "explore" ? "Ask" : "Make"),
    ),
  );

  async function start(): Promise<void> {
    const told: Record<string, Value> = {};
    for (const { choice, read } of asked) {
      const value = asSent(choice, read());
      if (value !== undefined) told[choice.name] = value;
    }
    fault.textContent = "";
    try {
      await bench.fetchJson("api/jobs", { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify({ verb, options: told }) });
      bench.say(`${title}: begun.`);
    } catch (wrong) {
      fault.textContent = wrong instanceof Error ? wrong.message : String(wrong);
    }
  }
}

function asking(bench: Bench, verb: string, choice: Choice, ends: Ends): { row: HTMLElement; read(): string | boolean } {
  const id = `${verb}-${choice.name}`;
  const label = h("label", { for: id }, choice.label);
  if (choice.kind === "switch") {
    const input = h("input", { id, type: "checkbox", checked: choice.start === true });
    return { row: h("div", { class: "option" }, input, label), read: () => input.checked };
  }
  if (choice.kind === "choice" || choice.kind === "shot" || choice.kind === "lamp") {
    const select = h("select", { id }, ...(choice.choices ?? []).map((one) => h("option", { selected: one === choice.start }, one)));
    if (choice.kind !== "choice") {
      const table = choice.kind;
      ends.add(
        bench.scene.on(({ scene }) => {
          const kept = select.value;
          select.replaceChildren(...rowsOf(scene, table).map(({ name = "" }) => h("option", { selected: name === kept }, name)));
        }),
      );
    }
    return { row: h("div", { class: "option" }, label, select), read: () => select.value };
  }
  const input = h("input", { id, type: choice.kind === "number" ? "number" : "text", step: "any", value: choice.start === undefined ? null : String(choice.start), placeholder: choice.hint, required: choice.kind === "wish", spellcheck: "false" });
  if (choice.kind === "wish") {
    ends.add(
      bench.scene.on(({ scene }) => {
        const opening = rowsOf(scene, "opening")[0]?.name;
        const prop = rowsOf(scene, "prop")[0]?.name;
        if (!input.value && opening && prop) input.value = `${opening} > ${prop}`;
      }),
    );
  }
  return { row: h("div", { class: "option" }, label, input), read: () => input.value };
}

function jobItem(bench: Bench, job: Job): HTMLElement {
  const busy = job.state === "waiting" || job.state === "running";
  const title = VERBS.find(({ verb }) => verb === job.verb)?.title ?? job.verb;
  const address = (name: string): string => `api/jobs/${encodeURIComponent(job.job)}/files/${name.split("/").map(encodeURIComponent).join("/")}`;
  const pictures = job.files.filter((name) => PICTURE.test(name));
  const films = job.files.filter((name) => FILM.test(name));
  return h(
    "li",
    { class: `job ${job.state}` },
    h("div", { class: "row" }, h("strong", {}, title), h("span", { class: "grow" }, STATE_WORDS[job.state]), busy && h("button", { "aria-label": `Stop ${title}`, onclick: () => void stop() }, "Stop")),
    busy && h("progress", { max: 1, value: job.share, "aria-label": `${title}: progress` }),
    job.says ? h("pre", { class: "told", tabindex: 0, role: "region", "aria-label": `${title}: what it says` }, job.says) : null,
    job.files.length ? h("ul", { class: "results" }, ...job.files.map((name) => h("li", {}, h("a", { href: address(name), target: "_blank", rel: "noreferrer" }, name)))) : null,
    ...films.slice(0, 2).map((name) => h("video", { src: address(name), controls: true, muted: true, loop: true, playsinline: true, "aria-label": name })),
    pictures.length ? h("div", { class: "prints" }, ...pictures.slice(0, 6).map((name) => h("a", { href: address(name), target: "_blank", rel: "noreferrer" }, h("img", { src: address(name), alt: name, loading: "lazy" })))) : null,
  );

  async function stop(): Promise<void> {
    await bench.fetchJson(`api/jobs/${encodeURIComponent(job.job)}`, { method: "DELETE" }).catch((fault: Error) => bench.say(fault.message, "assertive"));
  }
}
