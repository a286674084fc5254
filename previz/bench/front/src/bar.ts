// The edge of the bench: which file, whether it is saved, undo and redo, who else is here, light or evening.

import type { Bench, Outcome, Theme } from "./bench";
import { h } from "./dom";
import { faultWords } from "./words";

const THEMES: Record<Theme, { next: Theme; words: string }> = {
  system: { next: "light", words: "light: as the device" },
  light: { next: "dark", words: "light: day" },
  dark: { next: "system", words: "light: evening" },
};

export function placeBar(host: HTMLElement, bench: Bench): void {
  const title = h("h1", {});
  const kept = h("span", { class: "kept", role: "status" });
  const others = h("span", { class: "others" });
  const theme = h("button", { class: "plain", onclick: () => bench.theme.set(THEMES[bench.theme.get()].next) });
  const step = (run: () => Promise<Outcome>, what: string): void => void run().then(({ done }) => done === "accepted" && bench.say(`${what}.`));
  const bar = h(
    "header",
    { class: "bench-bar" },
    h("div", { class: "name" }, title, kept),
    h("div", { class: "buttons" },
      h("button", { title: "Ctrl+Z", onclick: () => step(bench.undo, "Undone") }, "Undo"),
      h("button", { title: "Ctrl+Shift+Z", onclick: () => step(bench.redo, "Done again") }, "Redo"),
      others,
      theme),
  );
  const notice = h("div", { class: "notice", role: "alert", hidden: true });
  // laid over the page, wherever it has been scrolled to: nothing under a hand may move when the connection goes
  const away = h("p", { class: "away-strip", role: "status", hidden: true }, "Reconnecting. Your edits are kept and sent again.");
  host.append(bar, notice, away);

  bench.theme.on((now) => {
    theme.textContent = THEMES[now].words;
    theme.setAttribute("aria-label", `${THEMES[now].words}. Press for the next.`);
  });
  const count = (): void => {
    const clients = bench.clients.get();
    others.textContent = clients > 1 && bench.link.get() === "here" ? `${clients} devices on this bench` : "";
  };
  bench.clients.on(count);
  bench.link.on(count);
  let met = false;
  const tell = (): void => {
    const { rev, file, scene } = bench.scene.get();
    title.textContent = scene.title && scene.title !== "untitled" ? scene.title : file;
    if (file) document.title = `${file} on the bench`;
    met ||= bench.link.get() === "here";
    const isAway = met && bench.link.get() === "away";
    kept.textContent = rev < 0 ? "the file is opened" : isAway ? "not connected" : bench.outsideFaults.get().length ? `${file} has faults` : bench.saved.get() >= rev ? `${file} is saved` : `${file} is being saved`;
    kept.classList.toggle("away", isAway);
    away.hidden = !isAway;
  };
  bench.scene.on(tell);
  bench.saved.on(tell);
  bench.link.on(tell);
  bench.outsideFaults.on((faults) => {
    tell();
    notice.hidden = !faults.length;
    notice.replaceChildren(
      h("strong", {}, "The file was changed outside and has faults. It is left as it is; nothing can be changed here until it is put right."),
      h("ul", {}, ...faults.map((fault) => h("li", {}, faultWords(fault)))),
    );
  });
}
