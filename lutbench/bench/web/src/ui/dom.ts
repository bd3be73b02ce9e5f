/** Short functions for elements. Text is always inserted as text. */

type Child = Node | string | null;

interface Settings {
  class?: string;
  id?: string;
  text?: string;
  /** Any other attribute. */
  set?: Record<string, string>;
  on?: Record<string, (event: Event) => void>;
}

export function el<Name extends keyof HTMLElementTagNameMap>(
  name: Name,
  settings: Settings = {},
  ...children: Child[]
): HTMLElementTagNameMap[Name] {
  const made = document.createElement(name);
  if (settings.class) made.className = settings.class;
  if (settings.id) made.id = settings.id;
  if (settings.text !== undefined) made.textContent = settings.text;
  for (const [key, value] of Object.entries(settings.set ?? {})) made.setAttribute(key, value);
  for (const [key, handler] of Object.entries(settings.on ?? {})) made.addEventListener(key, handler);
  made.append(...children.filter((child) => child !== null));
  return made;
}

export function svg(name: string, set: Record<string, string | number>, text = ""): SVGElement {
  const made = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const [key, value] of Object.entries(set)) made.setAttribute(key, String(value));
  if (text) made.textContent = text;
  return made;
}

/** Change text only if it differs: screen readers announce every change. */
export function retext(element: Element, text: string): void {
  if (element.textContent !== text) element.textContent = text;
}

let labels = 0;

/** A control under its label. */
export function labelled(label: string, control: HTMLElement, ...more: Child[]): HTMLElement {
  labels += 1;
  control.id ||= `control-${labels}`;
  const name = el("label", { text: label, set: { for: control.id } });
  return el("div", { class: "control" }, name, el("div", { class: "row" }, control, ...more));
}

/** A choice of one among a few, as radio buttons. */
export class Choice<T extends string> {
  readonly element: HTMLElement;
  private readonly inputs = new Map<T, HTMLInputElement>();

  constructor(legend: string, choices: [T, string][], chosen: (value: T) => void) {
    labels += 1;
    const group = `choice-${labels}`;
    const options = choices.map(([value, text]) => {
      const input = el("input", {
        set: { type: "radio", name: group, value },
        on: { change: () => { chosen(value); } },
      });
      this.inputs.set(value, input);
      return el("label", {}, input, el("span", { text }));
    });
    const title = el("legend", { text: legend });
    this.element = el("fieldset", { class: "choice" }, title, el("div", { class: "options" }, ...options));
  }

  show(value: T): void {
    const input = this.inputs.get(value);
    if (input) input.checked = true;
  }
}

export class Tick {
  readonly element: HTMLElement;
  readonly input: HTMLInputElement;

  constructor(label: string, changed: (on: boolean) => void) {
    this.input = el("input", {
      set: { type: "checkbox" },
      on: { change: () => { changed(this.input.checked); } },
    });
    this.element = el("label", { class: "tick" }, this.input, el("span", { text: label }));
  }

  show(on: boolean, able = true): void {
    this.input.checked = on;
    this.input.disabled = !able;
  }
}

export interface Slide {
  low: number;
  high: number;
  step: number;
}

/** A slider with its value in words beside it. */
export class Slider {
  readonly element: HTMLElement;
  readonly input: HTMLInputElement;
  private readonly value: HTMLOutputElement;

  constructor(
    label: string,
    { low, high, step }: Slide,
    private readonly words: (value: number) => string,
    moved: (value: number) => void,
  ) {
    this.input = el("input", {
      set: { type: "range", min: String(low), max: String(high), step: String(step) },
      on: { input: () => { moved(Number(this.input.value)); } },
    });
    this.value = el("output", { class: "value" });
    this.element = labelled(label, this.input, this.value);
    this.value.setAttribute("for", this.input.id);
  }

  show(value: number, able = true): void {
    this.input.value = String(value);
    this.input.disabled = !able;
    this.input.setAttribute("aria-valuetext", this.words(value));
    retext(this.value, this.words(value));
  }
}

/** A list to choose one name from. */
export class Picker {
  readonly element: HTMLElement;
  readonly select: HTMLSelectElement;
  private known = "";

  constructor(label: string, chosen: (value: string) => void, ...more: Child[]) {
    this.select = el("select", { on: { change: () => { chosen(this.select.value); } } });
    this.element = labelled(label, this.select, ...more);
  }

  show(choices: [string, string][], value: string): void {
    const known = JSON.stringify(choices);
    if (known !== this.known) {
      this.known = known;
      this.select.replaceChildren(
        ...choices.map(([name, text]) => el("option", { text, set: { value: name } })),
      );
    }
    this.select.value = value;
  }
}

export function section(title: string, name: string, ...children: Child[]): HTMLElement {
  const heading = el("h2", { text: title, id: `${name}-title` });
  const set = { "aria-labelledby": heading.id };
  return el("section", { id: name, set }, heading, ...children);
}

export function button(text: string, pressed: () => void, set: Record<string, string> = {}): HTMLButtonElement {
  return el("button", { text, set: { type: "button", ...set }, on: { click: pressed } });
}
