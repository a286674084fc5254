// What the bench can make by button, and the options of each, in the words of the command line.

import type { Value } from "../protocol";

export type VerbName = "make" | "sheet" | "cut" | "aim" | "explore" | "export" | "frame" | "reel" | "check";

export interface Choice {
  name: string;
  label: string;
  /** "lines": several, one a line; "several": some of the choices; "moment": where the take stands; the rest: names of the file's things. */
  kind: "choice" | "several" | "text" | "lines" | "number" | "whole" | "switch" | "moment" | "shot" | "lamp" | "wall" | "wish" | "target";
  choices?: string[];
  start?: string | number | boolean;
  /** What it is like, or what it means to leave it empty. */
  hint?: string;
  needed?: boolean;
  /** Of names: the words for none of them, where none may be chosen. */
  none?: string;
}
export interface Verb {
  verb: VerbName;
  title: string;
  says: string;
  /** On its button. */
  press: "Make" | "Ask";
  options: Choice[];
  /** Options that are always given. */
  fixed?: Record<string, Value>;
}

const SIZES = ["480x270", "640x360", "960x540", "1280x720", "1920x1080"];
const PAPER: Choice = { name: "paper", label: "paper", kind: "choice", choices: ["A4", "A3", "Letter"], start: "A4" };
const SHOT: Choice = { name: "shot", label: "shot", kind: "shot" };
const LAMP: Choice = { name: "lamp", label: "lamp", kind: "lamp" };
const WISH: Choice = { name: "wish", label: "wish", kind: "wish", hint: "opening > where its light shall land; one a line", needed: true };
const TARGET: Choice = { name: "wish", label: "where the light shall land", kind: "target", hint: "a prop, or attic.floor@150,120", needed: true };
const DARK: Choice = { name: "dark", label: "must stay dark", kind: "lines", hint: "a prop or a place; one a line" };
const size = (start: string, label = "size"): Choice => ({ name: "size", label, kind: "choice", choices: SIZES, start });
const quality = (start: string): Choice => ({ name: "quality", label: "quality", kind: "choice", choices: ["draft", "good", "fine"], start });
const PROXY: Choice = { name: "proxy", label: "plain shapes, quick", kind: "switch" };

export const VERBS: Verb[] = [
  { verb: "cut", title: "Wall templates", says: "Each wall at 1:1, to cut by.", press: "Make", options: [
    PAPER,
    { name: "format", label: "as", kind: "several", choices: ["pdf", "svg", "dxf"], start: "pdf" },
    { name: "measured", label: "the 100 mm bar of an earlier print measured, mm", kind: "number", start: 100 },
  ] },
  { verb: "sheet", title: "Paper for the day", says: "Bill, setup, drawings to scale, a page a shot.", press: "Make", options: [
    PAPER,
    { name: "format", label: "as", kind: "several", choices: ["pdf", "svg"], start: "pdf" },
  ] },
  { verb: "frame", title: "A picture", says: "One moment through the lens, as large and as smooth as you like.", press: "Make", options: [
    SHOT,
    { name: "take", label: "moment of the take, s", kind: "moment" },
    size("960x540"),
    quality("good"),
    { name: "chart", label: "luminance in stops instead, with a scale", kind: "switch" },
    { name: "noise", label: "with noise as ISO brings it", kind: "switch" },
    PROXY,
  ] },
  { verb: "reel", title: "A reel", says: "The move as a video at playback speed, with a contact sheet.", press: "Make", options: [SHOT, size("480x270"), PROXY] },
  { verb: "aim", title: "Aim a lamp", says: "Where it must stand for its light to land as wished.", press: "Ask", options: [
    WISH,
    DARK,
    LAMP,
    { ...SHOT, label: "keep clear of", none: "every shot" },
    { name: "answer", label: "answer to write", kind: "whole", start: 1 },
  ] },
  { verb: "aim", title: "An opening to cut", says: "Where, for a lamp that stands already.", press: "Ask", options: [
    { name: "open", label: "in wall", kind: "wall" },
    { ...TARGET, hint: "a place on a flat face: attic.floor@150,120" },
    { name: "patch", label: "patch there, width x length, mm", kind: "text", hint: "60x45", needed: true },
    { name: "shape", label: "shape", kind: "choice", choices: ["rect", "arch", "lancet", "round"], start: "rect" },
    { name: "bars", label: "glazing bars, columns x rows, width in mm", kind: "text", hint: "2x3,4; empty: none" },
    LAMP,
  ] },
  { verb: "aim", title: "Shafts together", says: "Lamp and openings at once, for so many shafts on one place.", press: "Ask", options: [
    { name: "shafts", label: "shafts", kind: "whole", start: 2, needed: true },
    TARGET,
    DARK,
    { name: "free", label: "openings that may be moved", kind: "text", hint: "names with commas between; empty: all" },
    { name: "contrast", label: "how plain each, stops", kind: "number", start: 0.1 },
    LAMP,
    { ...SHOT, label: "seen in" },
  ] },
  { verb: "aim", title: "How exact", says: "How far lamp, cut, haze and rail may be off.", press: "Ask", fixed: { tolerance: true }, options: [
    WISH,
    LAMP,
    SHOT,
    { name: "within", label: "the middle of the light may be off by, mm", kind: "number", hint: "empty: as the patch allows" },
  ] },
  { verb: "explore", title: "Variants", says: "Many variants side by side: pictures, figures, the best.", press: "Ask", options: [
    { name: "vary", label: "vary", kind: "lines", hint: "lamp.NAME.at.z=800..1200:5; one a line", needed: true },
    { name: "samples", label: "only so many, spread evenly", kind: "whole", hint: "empty: every value with every other" },
    { name: "best", label: "best by", kind: "lines", hint: "contrast_stops max; one a line" },
    SHOT,
    size("480x270"),
    quality("draft"),
  ] },
  { verb: "export", title: "Open files", says: "Set, lamps, moves and patches for other programs.", press: "Make", options: [
    { name: "only", label: "as", kind: "several", choices: ["gltf", "usd", "csv", "json", "patches"], start: "gltf,csv,json,patches" },
  ] },
  { verb: "check", title: "Figures as text", says: "Every figure and finding, to print or to keep.", press: "Make", options: [] },
  { verb: "make", title: "All of it", says: "Pictures, reels, templates, drawings and the sheet, with a page.", press: "Make", options: [size("960x540", "size of pictures")] },
];

/** The card that a job was asked for by. */
export function verbOf(job: { verb: string; options: Record<string, Value> }): Verb | undefined {
  const told = job.options;
  const title = job.verb !== "aim" ? null : told.tolerance ? "How exact" : told.shafts !== undefined ? "Shafts together" : told.open !== undefined ? "An opening to cut" : "Aim a lamp";
  return VERBS.find(({ verb, title: one }) => verb === job.verb && (title === null || one === title));
}

/** What is sent of one option; undefined leaves it out. */
export function asSent(choice: Choice, typed: string | boolean): Value | undefined {
  if (typeof typed === "boolean") return typed || undefined;
  const text = typed.trim();
  if (!text) return undefined;
  switch (choice.kind) {
    case "number":
    case "whole":
    case "moment":
      return Number(text);
    case "lines":
    case "wish":
      return text.split("\n").map((line) => line.trim()).filter(Boolean);
    case "target":
      return [text];
    default:
      return text;
  }
}

/** What was asked, in a line: "round window > mantel clock". */
export function askedFor(options: Record<string, Value>): string {
  const first = ["wish", "vary", "shot", "only", "format", "size"].map((name) => options[name]).find((value) => value !== undefined);
  return Array.isArray(first) ? first.join("; ") : first === undefined || first === null ? "" : String(first);
}
