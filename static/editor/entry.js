/* The field in which one element is typed, with completion from declarations and points.

   A symbol that is not declared yet is offered, too: choosing it declares it. */
import { byId, closest, find, query, queryAll } from "/static/dom.js";
/** @import { Part } from "/static/dom.js" */
/** @import { Declaration } from "/static/editor/actions.js" */

/**
 * A symbol that is offered, its line beside it, what a word is looked for in, whether it is new.
 * @typedef {{ symbol: string, detail: string, searched: string, fresh?: boolean }} Offer
 */
/**
 * Place what was typed; `fresh` are the variables that it declares.
 * @typedef {(text: string, type: string, fresh: Declaration[]) => void} CommitEntry
 */
/**
 * How the field opens: its label, the element's text so far, the block's type, the type that a new
 * symbol gets ("" where none is offered), and the element beside which it opens.
 * @typedef {object} Opening
 * @property {string} label
 * @property {string} [text]
 * @property {string} [type]
 * @property {string} [fresh]
 * @property {Part | null} stop
 * @property {CommitEntry} commit
 */

const WORD = /[A-Za-z_][\w.]*$|%[\w.]*$/;
const NEW = /^(?!(?:not|and|or|rising|falling|true|false|t)$)[a-z_]\w*$/i;

/**
 * What the instances of timers and counters are called at first, by the first letter of their type.
 * @type {Record<string, string>}
 */
const STEMS = { T: "delay", C: "count" };

export class Entry {
  #form = byId("entry", HTMLFormElement);
  #field = byId("entry-text", HTMLInputElement);
  #type = byId("entry-type", HTMLSelectElement);
  #list = byId("entry-list", HTMLElement);
  #answer = query(this.#form, "[data-answer]", HTMLElement);
  /** @type {CommitEntry} */
  #commit = () => {};
  /* The type that a new symbol gets here, and the symbols that were chosen as new. */
  #fresh = "";
  /** @type {Set<string>} */
  #chosen = new Set();
  #leave;
  #active = -1;

  /** @param {() => void} leave  gives the focus back to the rungs */
  constructor(leave) {
    this.#leave = leave;
    this.#form.addEventListener("submit", (event) => this.#submit(event));
    query(this.#form, "[data-cancel]", HTMLButtonElement).addEventListener("click", () => this.#cancel());
    this.#field.addEventListener("input", () => this.#suggest());
    this.#field.addEventListener("keydown", (event) => this.#key(event));
    this.#type.addEventListener("change", () => this.#fillBlock());
    this.#type.addEventListener("keydown", (event) => event.key === "Escape" && this.#cancel());
    this.#list.addEventListener("pointerdown", (event) => this.#pick(event));
  }

  get isOpen() {
    return !this.#form.hidden;
  }

  /** @param {Opening} opening */
  open({ label, text = "", type = "", fresh = "", stop, commit }) {
    this.#commit = commit;
    if (!text) this.#chosen.clear();
    this.#fresh = fresh;
    this.#answer.replaceChildren();
    byId("entry-label", HTMLElement).textContent = label;
    this.#form.hidden = false;
    this.#type.hidden = !type;
    this.#type.value = type;
    this.#field.value = text;
    this.#place(stop);
    if (type && !text) this.#fillBlock();
    this.#field.focus();
    if (text) this.#field.select();
    this.#suggest(Boolean(text || type));
  }

  /**
   * Show why what was typed was refused, with what was typed still there.
   * @param {Opening} again
   * @param {Node[]} message
   */
  reopen(again, message) {
    this.open(again);
    this.#answer.replaceChildren(...message);
    this.#close();
  }

  close() {
    this.#form.hidden = true;
    this.#close();
  }

  #cancel() {
    this.close();
    this.#leave();
  }

  /** @param {Event} event */
  #submit(event) {
    event.preventDefault();
    const text = this.#field.value.trim();
    if (!text) return;
    const type = this.#type.hidden ? "" : this.#type.value;
    const words = new Set(text.toLowerCase().match(/[a-z_]\w*/g));
    const fresh = [...this.#chosen].filter((symbol) => words.has(symbol));
    this.close();
    this.#leave();
    this.#commit(text, type, fresh.map((symbol) => ({ symbol, type: this.#fresh })));
  }

  /** @param {Part | null} stop */
  #place(stop) {
    const frame = this.#form.offsetParent?.getBoundingClientRect();
    if (!stop || !frame) return;
    const box = stop.getBoundingClientRect();
    const left = Math.min(box.left - frame.left, frame.width - this.#form.offsetWidth - 8);
    this.#form.style.left = `${Math.max(0, left)}px`;
    this.#form.style.top = `${box.bottom - frame.top + 6}px`;
  }

  /* A new block begins with a free instance name and its inputs, the name selected. */
  #fillBlock() {
    const block = this.#type.selectedOptions[0];
    const stem = STEMS[block.value[0]] || block.value.toLowerCase();
    const used = new Set(symbols().map((each) => each.symbol));
    let number = 1;
    while (used.has(`${stem}_${number}`)) number += 1;
    const name = `${stem}_${number}`;
    this.#field.value = `${name}(${block.dataset.inputs})`;
    this.#field.focus();
    this.#field.setSelectionRange(0, name.length);
    this.#close();
  }

  /** @param {KeyboardEvent} event */
  #key(event) {
    const options = this.#options;
    if (event.key === "Escape") {
      event.preventDefault();
      if (this.#active >= 0) this.#activate(-1);
      else this.#cancel();
    } else if ((event.key === "ArrowDown" || event.key === "ArrowUp") && options.length) {
      event.preventDefault();
      const step = event.key === "ArrowDown" ? 1 : -1;
      this.#activate((this.#active + step + options.length + 1) % (options.length + 1));
    } else if (event.key === "Tab" && !event.shiftKey && options.length && this.#word()) {
      event.preventDefault();
      this.#complete(options[Math.max(0, this.#active)]);
    } else if (event.key === "Enter" && options[this.#active]) {
      const alone = this.#word() === this.#field.value.trim();
      this.#complete(options[this.#active]);
      if (!alone) event.preventDefault();
    }
  }

  get #options() {
    return /** @type {HTMLCollectionOf<HTMLElement>} */ (this.#list.children);
  }

  get #caret() {
    return this.#field.selectionStart ?? this.#field.value.length;
  }

  /* The word that ends at the caret. */
  #word() {
    return this.#field.value.slice(0, this.#caret).match(WORD)?.[0] || "";
  }

  #suggest(quiet = false) {
    const word = this.#word().toLowerCase();
    const known = quiet ? [] : matching(word);
    if (!quiet && this.#isNew(word)) {
      known.push({ symbol: word, detail: `new, declared as ${this.#fresh}`, searched: "", fresh: true });
    }
    this.#list.replaceChildren(...known.map(option));
    this.#list.hidden = known.length === 0;
    this.#field.setAttribute("aria-expanded", String(known.length > 0));
    this.#activate(-1);
  }

  /** @param {string} word */
  #isNew(word) {
    const instance = !this.#type.hidden && this.#caret === word.length;
    return this.#fresh && !instance && NEW.test(word) && !symbols().some((each) => each.symbol === word);
  }

  /** @param {number} number  from 0; -1 for none */
  #activate(number) {
    const options = [...this.#options];
    this.#active = number < options.length ? number : -1;
    options.forEach((each, i) => each.setAttribute("aria-selected", String(i === this.#active)));
    const active = options[this.#active];
    if (active) {
      this.#field.setAttribute("aria-activedescendant", active.id);
      active.scrollIntoView({ block: "nearest" });
    } else {
      this.#field.removeAttribute("aria-activedescendant");
    }
  }

  /** @param {Event} event */
  #pick(event) {
    const picked = closest(event.target, "[role=option]", HTMLElement);
    if (!picked) return;
    event.preventDefault();
    this.#complete(picked);
  }

  /** @param {HTMLElement} picked */
  #complete(picked) {
    const { symbol = "", fresh } = picked.dataset;
    const caret = this.#caret;
    const begin = caret - this.#word().length;
    const after = this.#field.value.slice(caret);
    this.#field.value = this.#field.value.slice(0, begin) + symbol + after;
    if (fresh) this.#chosen.add(symbol);
    const end = begin + symbol.length;
    this.#field.setSelectionRange(end, end);
    this.#close();
  }

  #close() {
    this.#list.replaceChildren();
    this.#list.hidden = true;
    this.#field.setAttribute("aria-expanded", "false");
    this.#activate(-1);
  }
}

/* Every declared symbol with what the table of points says of it, and every block's outputs. */
function symbols() {
  const points = new Map(
    queryAll(document, "#points tr[data-address]", HTMLElement).map((row) => [row.dataset.address, row.dataset]),
  );
  /** @type {Offer[]} */
  const known = [];
  for (const { dataset } of queryAll(document, "#declarations tr[data-symbol]", HTMLElement)) {
    const { symbol = "", type = "" } = dataset;
    const point = points.get(dataset.address);
    const resting = point && point.resting !== "–" ? `at rest ${point.resting}` : "";
    const named = [dataset.address || type, point?.device, dataset.comment].filter(Boolean);
    const detail = [...named.slice(0, 2), resting, ...named.slice(2)].filter(Boolean).join(" · ");
    known.push({ symbol, detail, searched: named.join(" ").toLowerCase() });
    const block = find(document, `#entry-type option[value="${type}"]`, HTMLOptionElement);
    for (const output of block?.dataset.outputs?.split(" ") || []) {
      known.push({ symbol: `${symbol}.${output}`, detail: type, searched: "" });
    }
  }
  return known;
}

/**
 * Return what begins with the word first, then what has it in symbol, address, device or comment.
 * @param {string} word
 */
function matching(word) {
  /** @type {Offer[]} */
  const begins = [];
  /** @type {Offer[]} */
  const holds = [];
  for (const each of symbols()) {
    const symbol = each.symbol.toLowerCase();
    if (symbol === word && word) return [];
    if (symbol.startsWith(word)) begins.push(each);
    else if (word.length > 1 && `${symbol} ${each.searched}`.includes(word)) holds.push(each);
  }
  return [...begins, ...holds].slice(0, 40);
}

/** @param {Offer} offer @param {number} number  from 0 */
function option({ symbol, detail, fresh }, number) {
  const item = document.createElement("li");
  item.id = `entry-option-${number}`;
  item.setAttribute("role", "option");
  item.dataset.symbol = symbol;
  if (fresh) item.dataset.fresh = "yes";
  const name = document.createElement("code");
  name.textContent = symbol;
  const words = document.createElement("span");
  words.className = "under";
  words.textContent = detail;
  item.append(name, " ", words);
  return item;
}
