// Two changed the same: the page asks, key by key, and nothing is lost meanwhile.

import { h } from "./dom";
import type { BenchState } from "./state";
import { asTyped, keyWords } from "./words";

export function placeQuestion(host: HTMLElement, bench: BenchState): void {
  const dialog = h("dialog", { class: "paper question", "aria-labelledby": "question-title" });
  host.append(dialog);
  bench.question.on((question) => {
    if (!question) {
      if (dialog.open) dialog.close();
      return;
    }
    const choices = question.conflicts.map((conflict, index) => {
      const group = `conflict-${index}`;
      const mine = h("input", { type: "radio", name: group, id: `${group}-mine` });
      const theirs = h("input", { type: "radio", name: group, id: `${group}-theirs`, checked: true });
      const row = h(
        "fieldset",
        {},
        h("legend", {}, keyWords(conflict.key)),
        h("p", { class: "quiet" }, `It was ${asTyped(conflict.was)}.`),
        h("div", { class: "choice" }, mine, h("label", { for: mine.id }, `mine: ${asTyped(conflict.yours)}`)),
        h("div", { class: "choice" }, theirs, h("label", { for: theirs.id }, `theirs: ${asTyped(conflict.theirs)}`)),
      );
      return { mine, row };
    });
    const form = h(
      "form",
      { onsubmit: (event: SubmitEvent) => { event.preventDefault(); question.answer(choices.map(({ mine }) => mine.checked)); } },
      h("h2", { class: "tape", id: "question-title" }, "both changed this"),
      h("p", {}, "While you changed it, it was changed elsewhere too. Which is right?"),
      ...choices.map(({ row }) => row),
      h("div", { class: "buttons" },
        h("button", { class: "strong", value: "keep" }, "Keep these"),
        h("button", { type: "button", onclick: () => question.answer(null) }, "Drop my whole change")),
    );
    dialog.replaceChildren(form);
    dialog.oncancel = (event) => {
      event.preventDefault();
      question.answer(null);
    };
    if (!dialog.open) dialog.showModal();
  });
}
