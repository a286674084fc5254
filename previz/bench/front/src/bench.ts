// The seam between the page and its papers: a paper is mounted on the bench, watches its signals and asks it for changes.

import type { Change, Drawing, Fault, Figures, Job, Key, Light, PictureNews, Pointer, SceneDoc } from "./protocol";
import type { Signal } from "./signal";
import type { Theme } from "./theme";

export type { Signal } from "./signal";
export type { Theme } from "./theme";

export interface Paper {
  element: HTMLElement;
  dispose(): void;
}
export type Mount = (host: HTMLElement, bench: Bench) => Paper;

/** How an edit ended: in the file, refused in the maker's words, or dropped by the maker's own answer to a question. */
export type Outcome = { done: "accepted"; rev: number } | { done: "refused"; faults: Fault[] } | { done: "dropped" };

/** What the server would not take, in its words; of a job's options each by its name. */
export class Refused extends Error {
  constructor(says: string, readonly options: Record<string, string>) {
    super(says);
  }
}

/** What the engine is busy with, and how far it is (0 to 1). */
export type Working = Record<string, number>;
/** "here": talking with the server; "away": trying again, edits are kept; "shut": the server wants a code first. */
export type Link = "here" | "away" | "shut";

export interface Bench {
  readonly who: string;
  scene: Signal<SceneDoc>;
  drawing: Signal<Drawing | null>;
  light: Signal<Light | null>;
  figures: Signal<Figures | null>;
  picture: Signal<PictureNews | null>;
  /** Name of the shot that is looked at; "" while there is none. */
  shot: Signal<string>;
  /** Moment of the take, real seconds. */
  takeS: Signal<number>;
  /** What is chosen, as the start of its keys: ["lamp", "key"]; null: nothing. */
  chosen: Signal<Key | null>;
  /** What a finding that was pressed points at, until the moment or the shot is another. */
  pointed: Signal<Pointer | null>;
  playing: Signal<boolean>;
  theme: Signal<Theme>;
  working: Signal<Working>;
  jobs: Signal<Job[]>;
  clients: Signal<number>;
  link: Signal<Link>;
  /** The latest revision that is on the disk. */
  saved: Signal<number>;
  /** Faults of the file as it was changed outside; edits wait until it is put right. */
  outsideFaults: Signal<Fault[]>;
  /** What other devices are dragging at the moment. */
  theirTry: Signal<Change[]>;
  share: Signal<boolean>;

  /** Show changes while dragging, at most one a picture of the screen; [] takes them back. Nothing is stored. */
  tryOut(changes: Change[]): void;
  /**
   * Put changes into the file; ends a try. `base`: the revision that was seen when they were begun, so that what others have made
   * of the same keys meanwhile is asked about; the newest where it is left out.
   */
  edit(changes: Change[], says: string, base?: number): Promise<Outcome>;
  undo(): Promise<Outcome>;
  redo(): Promise<Outcome>;
  backTo(rev: number): Promise<Outcome>;
  /** Ask for pictures of the chosen shot and moment, this many pixels wide; 0: none are wanted. */
  look(width: number): void;
  /** Say it to a screen reader, and show it for a while. */
  say(text: string, tone?: "polite" | "assertive"): void;
  fetchBuffer(path: string): Promise<ArrayBuffer>;
  fetchJson<T>(path: string, init?: RequestInit): Promise<T>;
}
