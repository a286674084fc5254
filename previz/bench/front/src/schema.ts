// What the file's keys may hold, as the model of the scene states it (JSON Schema of the server: the only list of keys).

import type { Row, Value } from "./protocol";

interface Node {
  $ref?: string;
  type?: string;
  enum?: string[];
  const?: string;
  anyOf?: Node[];
  oneOf?: Node[];
  items?: Node;
  prefixItems?: Node[];
  minItems?: number;
  maxItems?: number;
  minimum?: number;
  maximum?: number;
  exclusiveMinimum?: number;
  description?: string;
  default?: Value;
  properties?: Record<string, Node>;
  required?: string[];
  additionalProperties?: Node | boolean;
}
export interface Schema extends Node {
  $defs: Record<string, Node>;
}

/** One key of a table: what it is for, and each form that it may take. */
export interface Field {
  key: string;
  says: string;
  required: boolean;
  preset: Value;
  /** Words to choose from, where the key takes words. */
  choices: string[];
  /** Numbers that it takes: 0 none, 1 one, 2 or 3 a point or a size. */
  counts: number[];
  takesText: boolean;
  takesSwitch: boolean;
  /** Other forms: lists and tables, typed as in the file. */
  takesMore: boolean;
  min: number | null;
  max: number | null;
}

export class Keys {
  constructor(private readonly schema: Schema) {}

  /** The keys of one thing, by its table and, where the table comes in kinds, its kind. */
  fields(table: string, row: Row): Field[] {
    const model = this.model(table, row);
    const required = new Set(model?.required ?? []);
    return Object.entries(model?.properties ?? {})
      .filter(([, node]) => node.const === undefined)
      .map(([key, node]) => this.field(key, node, required.has(key)));
  }

  /** Keys that stand at the top of the file. */
  file(names: string[]): Field[] {
    return names.map((key) => this.field(key, this.schema.properties?.[key] ?? {}, false));
  }

  private model(table: string, row: Row): Node | null {
    const held = this.schema.properties?.[table];
    if (!held) return null;
    const forms = this.forms(held).flatMap((form) => (form.items ? this.forms(form.items) : typeof form.additionalProperties === "object" ? this.forms(form.additionalProperties) : [form]));
    return forms.find((form) => form.properties?.kind?.const !== undefined && form.properties.kind.const === row.kind) ?? forms.find((form) => form.properties) ?? null;
  }

  /** Every form of a node, references followed. */
  private forms(node: Node): Node[] {
    if (node.$ref) return this.forms(this.schema.$defs[node.$ref.split("/").pop()!] ?? {});
    const inner = node.anyOf ?? node.oneOf;
    return inner ? inner.flatMap((one) => this.forms(one)) : [node];
  }

  private field(key: string, node: Node, required: boolean): Field {
    const forms = this.forms(node).filter((form) => form.type !== "null");
    const numbers = forms.filter(({ type }) => type === "number" || type === "integer");
    const isPoint = (form: Node): boolean => !!form.prefixItems?.length && form.prefixItems.every(({ type }) => type === "number");
    const points = forms.filter(isPoint).map((form) => form.prefixItems!.length);
    return {
      key,
      says: node.description ?? "",
      required,
      preset: node.default ?? null,
      choices: forms.flatMap((form) => form.enum ?? (form.const === undefined ? [] : [form.const])),
      counts: [...(numbers.length ? [1] : []), ...points],
      takesText: forms.some((form) => form.type === "string" && !form.enum),
      takesSwitch: forms.some(({ type }) => type === "boolean"),
      takesMore: forms.some((form) => form.properties || (form.type === "array" && !isPoint(form)) || form.additionalProperties),
      min: numbers[0]?.minimum ?? numbers[0]?.exclusiveMinimum ?? null,
      max: numbers[0]?.maximum ?? null,
    };
  }
}
