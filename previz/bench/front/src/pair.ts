// The page before the bench: the code that the terminal shows, once for each device.

import { h } from "./dom";

/** Show the form; a code after # in the address is used at once, and never stays in the address. */
export function pairing(host: HTMLElement): void {
  const given = decodeURIComponent(location.hash.slice(1));
  history.replaceState(null, "", location.pathname);
  const said = h("p", { class: "fault", role: "alert" });
  const code = h("input", { id: "code", name: "code", autocomplete: "one-time-code", autocapitalize: "off", spellcheck: "false", required: true, maxlength: 100 });
  const button = h("button", { class: "strong" }, "Go to the bench");
  const form = h(
    "form",
    { class: "paper pairing", onsubmit: (event: SubmitEvent) => { event.preventDefault(); void send(code.value); } },
    h("h1", { class: "tape" }, "this bench"),
    h("label", { for: "code" }, "One-time code, as the terminal shows it"),
    code,
    said,
    button,
    h("p", { class: "quiet" }, "Each device needs a code once. Another one: the share paper of a page that is open, or start the bench again."),
  );
  host.append(h("main", {}, form));
  if (given) void send(given);
  else code.focus();

  async function send(text: string): Promise<void> {
    button.disabled = true;
    said.textContent = "";
    try {
      const answer = await fetch("api/pair", { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify({ code: text.trim() }) });
      if (answer.ok) return location.replace("./");
      const told = (await answer.json().catch(() => ({}))) as { says?: string };
      said.textContent = told.says ?? `That was not taken (${answer.status}).`;
    } catch {
      said.textContent = "The bench does not answer. Is it still running?";
    }
    button.disabled = false;
    code.focus();
  }
}
