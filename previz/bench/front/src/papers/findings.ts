// Findings as sentences. Pressing one goes to its moment and chooses what it means.

import type { Bench, Mount } from "../bench";
import { Ends, h } from "../dom";
import type { Figures, Finding, Pointer } from "../protocol";
import { keyOfName, seconds } from "../words";

const GROUPS: { level: Finding["level"]; title: string; open: boolean }[] = [
  { level: "stop", title: "Before the day", open: true },
  { level: "care", title: "Keep an eye on", open: true },
  { level: "ok", title: "In order", open: false },
];

export const findings: Mount = (host, bench) => {
  const ends = new Ends();
  const element = h("div", { class: "findings" });
  const state = h("p", { class: "quiet" }, "The figures are worked out.");
  const groups = GROUPS.map(({ level, title, open }) => {
    const list = h("ul", { class: "sentences" });
    const summary = h("summary", {});
    const group = h("details", { class: `group ${level}`, open }, summary, list);
    element.append(group);
    return { level, title, list, summary, group };
  });
  element.prepend(state);
  host.append(element);

  ends.add(bench.figures.on(show), bench.scene.on(stale), bench.working.on(stale));

  function stale(): void {
    const figures = bench.figures.get();
    const old = !figures || figures.rev !== bench.scene.get().rev;
    const share = bench.working.get().figures;
    state.textContent = share !== undefined ? `The figures are worked out: ${Math.round(100 * share)} %.` : figures ? "These figures are of the file before your last change." : "The figures are worked out.";
    state.hidden = !old && share === undefined;
  }

  function show(figures: Figures | null): void {
    const told = figures?.report.findings ?? [];
    for (const { level, title, list, summary, group } of groups) {
      const mine = told.map((finding, index) => ({ finding, point: figures?.points[index] })).filter(({ finding }) => finding.level === level);
      summary.textContent = `${title}: ${mine.length}`;
      group.hidden = !mine.length;
      list.replaceChildren(...mine.map(({ finding, point }) => h("li", {}, sentence(bench, finding, point))));
    }
    stale();
  }

  return ends.paper(element);
};

function sentence(bench: Bench, finding: Finding, point: Pointer | undefined): HTMLElement {
  const moment = point?.take_s ?? null;
  const words = [
    h("span", { class: "about" }, finding.about),
    h("span", { class: "says" }, finding.says),
    finding.remedy ? h("span", { class: "remedy" }, finding.remedy) : null,
  ];
  if (!point || (moment === null && !point.names.length && !point.shot)) return h("div", { class: "sentence" }, ...words);
  return h(
    "button",
    {
      class: "sentence",
      onclick() {
        if (point.shot) bench.shot.set(point.shot);
        if (moment !== null) bench.takeS.set(moment);
        const means = point.names.map((name) => keyOfName(bench.scene.get().scene, name)).find((key) => key !== null);
        if (means) bench.chosen.set(means);
        bench.pointed.set(point);
      },
    },
    ...words,
    h("span", { class: "points" }, [moment === null ? "" : `at ${seconds(moment)}`, ...point.names].filter(Boolean).join(" · ")),
  );
}
