// The bench itself: what the server told, as signals; what the maker does, as messages.

import { Refused, type Bench, type Outcome } from "./bench";
import { said } from "./says";
import type { Change, Conflict, Drawing, Fault, Figures, FromServer, Job, Light, PictureNews, Pointer, SceneDoc, ToServer } from "./protocol";
import { Pending, type Ask } from "./pending";
import { signal, type Signal } from "./signal";
import { theme } from "./theme";
import { Wire } from "./wire";
import { faultWords } from "./words";

/** One question at a time: what both changed, and how the maker answers it. */
export interface Question {
  conflicts: Conflict[];
  /** For each conflict, whether the maker's own value goes in; null: none of the edit. */
  answer(mine: boolean[] | null): void;
}
/** The bench as its own frame sees it. */
export interface BenchState extends Bench {
  question: Signal<Question | null>;
  start(): Promise<void>;
}

const NOTHING: SceneDoc = { rev: -1, file: "", text: "", scene: {}, names: {}, faults: [] };
const DRAWING_PATIENCE_MS = 3000;

/** A name that tells one browser from another; kept, so that undo works after a reload. */
function whoAmI(): string {
  let who = localStorage.getItem("previz.who");
  if (!who) {
    who = [...crypto.getRandomValues(new Uint8Array(9))].map((byte) => byte.toString(36).padStart(2, "0")).join("");
    localStorage.setItem("previz.who", who);
  }
  return who;
}

/** Whether one key is the other, or lies inside it. */
function overlap(one: readonly (string | number)[], other: readonly (string | number)[]): boolean {
  return one.slice(0, other.length).every((part, index) => String(part) === String(other[index]));
}

/** Fetch the newest only: while one is under way, later wishes wait as one. */
function newest(fetchIt: () => Promise<void>): () => Promise<void> {
  let running: Promise<void> | null = null;
  let again: Promise<void> | null = null;
  const run = (): Promise<void> => {
    running = fetchIt().finally(() => {
      running = null;
    });
    return running;
  };
  return () => {
    if (!running) return run();
    again ??= running.catch(() => undefined).then(() => {
      again = null;
      return run();
    });
    return again;
  };
}

export function makeBench(): BenchState {
  const pending = new Pending();
  const who = whoAmI();
  let counter = Date.now();
  let seq = 0;
  let trying: Change[] | null = null;
  let tryFrame = 0;
  let lookFrame = 0;
  let width = 0;
  let lastLook = "";
  let lightWanted = 0;
  /** What each of the others drags. */
  const tries = new Map<string, Change[]>();
  /** Ends when the scene and the drawing of the last edit are here. */
  let arriving: Promise<void> = Promise.resolve();

  const bench: BenchState = {
    who,
    scene: signal(NOTHING),
    drawing: signal<Drawing | null>(null),
    light: signal<Light | null>(null),
    figures: signal<Figures | null>(null),
    picture: signal<PictureNews | null>(null),
    shot: signal(""),
    takeS: signal(0),
    chosen: signal<string[] | null>(null),
    pointed: signal<Pointer | null>(null),
    playing: signal(false),
    theme,
    working: signal<Record<string, number>>({}),
    jobs: signal<Job[]>([]),
    clients: signal(1),
    link: signal<"here" | "away" | "shut">("away"),
    saved: signal(-1),
    outsideFaults: signal<Fault[]>([]),
    theirTry: signal<Change[]>([]),
    share: signal(false),
    question: signal<Question | null>(null),

    tryOut(changes) {
      trying = changes;
      tryFrame ||= requestAnimationFrame(() => {
        tryFrame = 0;
        if (trying) wire.send({ do: "try", seq: ++seq, changes: trying });
        trying = null;
      });
    },
    edit: (changes, says, base = bench.scene.get().rev) => ask({ do: "edit", id: newId(), base, changes, says }),
    undo: () => ask({ do: "undo", id: newId() }),
    redo: () => ask({ do: "redo", id: newId() }),
    backTo: (rev) => ask({ do: "back_to", id: newId(), rev }),
    look(wanted) {
      width = wanted && Math.max(160, Math.min(1920, Math.round(wanted)));
      askLook();
    },
    say: said,
    async fetchBuffer(path) {
      return (await fetched(path)).arrayBuffer();
    },
    async fetchJson<T>(path: string, init?: RequestInit) {
      return (await fetched(path, init)).json() as Promise<T>;
    },
    async start() {
      bench.shot.on(askLook);
      bench.takeS.on(askLook);
      bench.playing.on(askLook);
      bench.takeS.on((takeS) => {
        if (bench.pointed.get()?.take_s !== takeS) bench.pointed.set(null);
      });
      await Promise.all([refreshScene(), refreshDrawing(), refreshFigures()]);
      bench.shot.on((shot) => {
        if (shot !== (bench.drawing.get()?.section.shot ?? "")) void refreshDrawing();
      });
      wire.connect();
    },
  };

  const wire = new Wire({
    opened() {
      const { rev } = bench.scene.get();
      wire.send({ do: "hello", who, rev: rev < 0 ? null : rev });
    },
    message: heard,
    closed(notPaired) {
      bench.link.set(notPaired ? "shut" : "away");
      bench.working.set({});
      tries.clear();
      bench.theirTry.set([]);
      if (notPaired) location.assign("pair");
    },
  });

  function newId(): string {
    return `${who}-${(++counter).toString(36)}`;
  }

  async function fetched(path: string, init?: RequestInit): Promise<Response> {
    const answer = await fetch(path, init);
    if (answer.status === 401) location.assign("pair");
    if (!answer.ok) {
      const told = (await answer.json().catch(() => null)) as { says?: string; options?: Record<string, string> } | null;
      throw new Refused(told?.says ?? `the server answered ${answer.status} to ${path}`, told?.options ?? {});
    }
    return answer;
  }

  const refreshScene = newest(async () => {
    const doc = await bench.fetchJson<SceneDoc>("api/scene");
    bench.scene.set(doc);
    bench.outsideFaults.set(doc.faults ?? []);
    const shots = (doc.scene.shot ?? []).map((row) => row.name ?? "");
    if (!shots.includes(bench.shot.get())) bench.shot.set(shots[0] ?? "");
    shown();
  });
  const refreshDrawing = newest(async () => {
    const shot = bench.shot.get();
    const drawing = await bench.fetchJson<Drawing | null>(shot ? `api/drawing?shot=${encodeURIComponent(shot)}` : "api/drawing").catch(() => null);
    if (drawing) bench.drawing.set(drawing);
    shown();
  });
  const refreshFigures = newest(async () => {
    const figures = await bench.fetchJson<Figures | null>("api/figures").catch(() => null);
    if (figures) bench.figures.set(figures);
  });
  /** All of them: what was told while the page was away did not reach it, and a server that was started anew has none. */
  const refreshJobs = newest(async () => {
    const told = await bench.fetchJson<{ jobs: Job[] }>("api/jobs").catch(() => null);
    if (told) bench.jobs.set(told.jobs.reverse());
  });
  const refreshLight = newest(async () => {
    const light = await bench.fetchJson<Light | null>(`api/light/${lightWanted}`).catch(() => null);
    if (light) bench.light.set(light);
  });

  function shown(): void {
    const drawn = bench.drawing.get();
    if (drawn && drawn.rev >= bench.scene.get().rev) document.documentElement.dataset.rev = String(bench.scene.get().rev);
  }

  /** Wait until the drawing of a revision is here, so that nothing dragged jumps back for a moment. */
  function drawnAt(rev: number): Promise<void> {
    return new Promise((resolve) => {
      let end = (): void => undefined;
      const timer = setTimeout(done, DRAWING_PATIENCE_MS);
      function done(): void {
        clearTimeout(timer);
        end();
        resolve();
      }
      end = bench.drawing.on((drawing) => {
        if (drawing && drawing.rev >= rev) queueMicrotask(done);
      });
    });
  }

  function ask(message: Ask): Promise<Outcome> {
    trying = null;
    const outcome = pending.add(message);
    wire.send(message);
    return outcome;
  }

  function askLook(): void {
    lookFrame ||= requestAnimationFrame(() => {
      lookFrame = 0;
      if (!width || !bench.shot.get() || bench.playing.get()) return;
      const look: ToServer = { do: "look", shot: bench.shot.get(), take_s: bench.takeS.get(), width };
      const text = JSON.stringify(look);
      if (text !== lastLook && wire.send(look)) lastLook = text;
    });
  }

  async function accepted(rev: number, id: string): Promise<void> {
    await Promise.all([refreshScene(), refreshDrawing(), pending.get(id) ? drawnAt(rev) : null]).catch(() => undefined);
    pending.answer(id, { done: "accepted", rev });
  }

  /** Another device drags, or has let go: what it let go stays where it is until the drawing has it, so that nothing jumps back. */
  function theirs(by: string, changes: Change[]): void {
    tries.set(by, changes);
    if (changes.length) return bench.theirTry.set([...tries.values()].flat());
    void arriving.then(() => {
      if (tries.get(by) === changes) tries.delete(by);
      bench.theirTry.set([...tries.values()].flat());
    });
  }

  /** The server had no room for it: send it again when it says. */
  function later(id: string, waitS: number): void {
    setTimeout(() => {
      const waiting = pending.get(id);
      if (waiting) wire.send(waiting);
    }, 1000 * Math.max(waitS, 0.2));
  }

  function asked(id: string, conflicts: Conflict[]): void {
    // An edit that was told already may clash with what was typed into the file before it was saved.
    const changes = conflicts.map(({ key, yours }) => ({ key: key.map(String), to: yours }));
    const first: Ask = pending.get(id) ?? { do: "edit", id, base: 0, changes, says: "As on the page" };
    bench.question.set({
      conflicts,
      answer(mine) {
        bench.question.set(null);
        const next = mine && answered(first, conflicts, mine);
        if (!next) return pending.answer(id, { done: "dropped" });
        pending.again(id, next);
        wire.send(next);
      },
    });
  }

  /** The same wish once more, on top of what is there now, without what the maker gave up; null where nothing is left of it. */
  function answered(first: Ask, conflicts: Conflict[], mine: boolean[]): Ask | null {
    const again = { id: newId(), base: bench.scene.get().rev };
    if (first.do === "undo" || first.do === "redo") return { do: first.do, ...again, answer: mine.includes(true) ? "mine" : "theirs" };
    if (first.do !== "edit") return { ...first, id: again.id };
    const given = conflicts.filter((_, index) => !mine[index]);
    const changes = first.changes.filter(({ key }) => !given.some((conflict) => overlap(key, conflict.key)));
    return changes.length ? { ...first, ...again, changes } : null;
  }

  function heard(message: FromServer): void {
    switch (message.did) {
      case "hello":
        bench.link.set("here");
        bench.clients.set(message.clients);
        bench.share.set(message.share);
        if (message.rev !== bench.scene.get().rev) void refreshScene().then(refreshDrawing);
        void refreshJobs();
        for (const waiting of pending.all()) wire.send(waiting);
        lastLook = "";
        askLook();
        break;
      case "edit":
        if (message.by !== who) said(`Another device: ${message.says}.`);
        void (arriving = accepted(message.rev, message.id));
        break;
      case "saved":
        bench.saved.set(message.rev);
        document.documentElement.dataset.saved = String(message.rev);
        break;
      case "refused":
        if (message.id) pending.answer(message.id, { done: "refused", faults: message.faults });
        said(message.faults.map(faultWords).join(" "), "assertive");
        break;
      case "asked":
        asked(message.id, message.conflicts);
        break;
      case "outside":
        said(message.says || "The file was changed outside; the bench shows it as it is now.");
        bench.outsideFaults.set([]);
        void refreshScene().then(refreshDrawing);
        break;
      case "outside_fault":
        bench.outsideFaults.set(message.faults);
        break;
      case "try":
        theirs(message.by, message.changes);
        break;
      case "picture": {
        const { did: _, ...news } = message;
        bench.picture.set(news);
        break;
      }
      case "light":
        lightWanted = message.n;
        void refreshLight();
        break;
      case "figures":
        void refreshFigures();
        break;
      case "working": {
        const { [message.what]: _, ...others } = bench.working.get();
        bench.working.set(message.share === null ? others : { ...others, [message.what]: message.share });
        break;
      }
      case "job": {
        const { did: _, ...job } = message;
        const known = bench.jobs.get().some((one) => one.job === job.job);
        bench.jobs.set(known ? bench.jobs.get().map((one) => (one.job === job.job ? job : one)) : [job, ...bench.jobs.get()]);
        break;
      }
      case "here":
        bench.clients.set(message.clients);
        break;
      case "full":
        said(message.says, "assertive");
        if (message.id) later(message.id, message.wait_s ?? 1);
        break;
      case "fault":
        said(message.says, "assertive");
        break;
    }
  }

  return bench;
}
