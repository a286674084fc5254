// Words of the trade for keys, numbers and moments: what a maker reads wherever the page speaks of them.

import type { Fault, Key, Row, Scene, Value } from "./protocol";
import { stringify } from "smol-toml";

/** Tables whose rows go by a name, in the order in which a maker meets them. */
export const ROW_TABLES = ["lamp", "opening", "prop", "shot", "room"] as const;
/** Tables of which there is one. */
export const SINGLE_TABLES = ["haze", "body", "lens", "slider", "lift", "hand", "mesh", "table", "stand"] as const;

export function rowsOf(scene: Scene, table: string): Row[] {
  const rows = scene[table];
  return Array.isArray(rows) ? (rows as Row[]) : [];
}

export function rowAt(scene: Scene, key: Key): Row | null {
  const [table, name] = key;
  if (!table) return null;
  if (name === undefined) return (scene[table] as Row | null | undefined) ?? null;
  const held = scene[table];
  if (Array.isArray(held)) return (held as Row[]).find((row) => row.name === name) ?? null;
  return ((held as Record<string, Row> | undefined)?.[name] as Row | undefined) ?? null;
}

/** "lamp evening sun, at" */
export function keyWords(key: readonly (string | number)[]): string {
  const [table, name, ...rest] = key.map(String);
  if (table === undefined) return "the file";
  if ((ROW_TABLES as readonly string[]).includes(table) || table === "finish") return [`${table} ${name ?? ""}`.trim(), rest.join(" ")].filter(Boolean).join(", ");
  return [table, [name, ...rest].filter(Boolean).join(" ")].filter(Boolean).join(", ");
}

/** A value as the maker would type it into the file. */
export function asTyped(value: Value | undefined): string {
  if (value === null || value === undefined) return "nothing";
  if (typeof value === "number") return shortNumber(value);
  if (Array.isArray(value)) return `[${value.map(asTyped).join(", ")}]`;
  if (typeof value === "object") return `{ ${Object.entries(value).filter(([, one]) => one !== null).map(([key, one]) => `${key} = ${asTyped(one)}`).join(", ")} }`;
  return stringify({ v: value }).trim().slice(4);
}

export function shortNumber(value: number, digits = 3): string {
  return String(Number(value.toFixed(digits)));
}

export function seconds(value: number): string {
  return `${value.toFixed(2)} s`;
}

/** A fault as one reads it: where, what is wrong, what to do. */
export function faultWords({ line, says, remedy }: Fault): string {
  return [sentence(line ? `line ${line}: ${says}` : says), remedy].filter(Boolean).join(" ");
}

const sentence = (words: string): string => words.charAt(0).toUpperCase() + words.slice(1) + (/[.!?]$/.test(words) ? "" : ".");

/** What the server says in lines, as a terminal shows it, in sentences. */
export const inSentences = (says: string): string => says.split("\n").map((one) => one.trim()).filter(Boolean).map(sentence).join(" ");

/** The key of the thing that a finding calls by `name`: a row of the file; repeated things go by the row that repeats them. */
export function keyOfName(scene: Scene, name: string): Key | null {
  const bare = [name, name.replace(/-\d+$/, ""), name.split(".")[0]!];
  for (const called of bare) for (const table of ROW_TABLES) if (rowsOf(scene, table).some((row) => row.name === called)) return [table, called];
  return (SINGLE_TABLES as readonly string[]).includes(name) ? [name] : null;
}
