/* The field in which one element is typed, with completion from declarations and points.

   A symbol that is not declared yet is offered, too: whoever chooses it declares it. */
const WORD = /[A-Za-z_][\w.]*$|%[\w.]*$/;
const NEW = /^(?!(?:not|and|or|rising|falling|true|false|t)$)[a-z_]\w*$/i;

export class Entry {
  #form = document.getElementById("entry");
  #field = document.getElementById("entry-text");
  #type = document.getElementById("entry-type");
  #list = document.getElementById("entry-list");
  #answer = this.#form.querySelector("[data-answer]");
  #commit = null;
  /* The type that a new symbol gets here, and the symbols that were chosen as new. */
  #fresh = "";
  #chosen = new Set();
  #leave;
  #active = -1;

  /* `leave` gives the focus back to the rungs. */
  constructor(leave) {
    this.#leave = leave;
    this.#form.addEventListener("submit", (event) => this.#submit(event));
    this.#form.querySelector("[data-cancel]").addEventListener("click", () => this.#cancel());
    this.#field.addEventListener("input", () => this.#suggest());
    this.#field.addEventListener("keydown", (event) => this.#key(event));
    this.#type.addEventListener("change", () => this.#fillBlock());
    this.#type.addEventListener("keydown", (event) => event.key === "Escape" && this.#cancel());
    this.#list.addEventListener("pointerdown", (event) => this.#pick(event));
  }

  get isOpen() {
    return !this.#form.hidden;
  }

  /* Open beside `stop`. `commit(text, type, fresh)` gets what was typed, and the variables that it
     declares. */
  open({ label, text = "", type = "", fresh = "", stop, commit }) {
    this.#commit = commit;
    if (!text) this.#chosen.clear();
    this.#fresh = fresh;
    this.#answer.replaceChildren();
    document.getElementById("entry-label").textContent = label;
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

  /* Show why what was typed was refused, with what was typed still there. */
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
    const option = this.#type.selectedOptions[0];
    const stem = { T: "delay", C: "count" }[option.value[0]] || option.value.toLowerCase();
    const used = new Set(symbols().map((each) => each.symbol));
    let number = 1;
    while (used.has(`${stem}_${number}`)) number += 1;
    const name = `${stem}_${number}`;
    this.#field.value = `${name}(${option.dataset.inputs})`;
    this.#field.focus();
    this.#field.setSelectionRange(0, name.length);
    this.#close();
  }

  #key(event) {
    const options = this.#list.children;
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

  #word() {
    return this.#field.value.slice(0, this.#field.selectionStart).match(WORD)?.[0] || "";
  }

  #suggest(quiet = false) {
    const word = this.#word().toLowerCase();
    const known = quiet ? [] : matching(word);
    if (!quiet && this.#isNew(word)) known.push({ symbol: word, detail: `new, declared as ${this.#fresh}`, fresh: true });
    this.#list.replaceChildren(...known.map(option));
    this.#list.hidden = known.length === 0;
    this.#field.setAttribute("aria-expanded", String(known.length > 0));
    this.#activate(-1);
  }

  #isNew(word) {
    const instance = !this.#type.hidden && this.#field.selectionStart === word.length;
    return this.#fresh && !instance && NEW.test(word) && !symbols().some((each) => each.symbol === word);
  }

  #activate(number) {
    const options = [...this.#list.children];
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

  #pick(event) {
    const picked = event.target.closest("[role=option]");
    if (!picked) return;
    event.preventDefault();
    this.#complete(picked);
  }

  #complete(picked) {
    const caret = this.#field.selectionStart;
    const begin = caret - this.#word().length;
    const behind = this.#field.value.slice(caret);
    this.#field.value = this.#field.value.slice(0, begin) + picked.dataset.symbol + behind;
    if (picked.dataset.fresh) this.#chosen.add(picked.dataset.symbol);
    const end = begin + picked.dataset.symbol.length;
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
    [...document.querySelectorAll("#points tr[data-address]")].map((row) => [row.dataset.address, row.dataset]),
  );
  const known = [];
  for (const { dataset } of document.querySelectorAll("#declarations tr[data-symbol]")) {
    const point = points.get(dataset.address);
    const resting = point && point.resting !== "–" ? `at rest ${point.resting}` : "";
    const named = [dataset.address || dataset.type, point?.device, dataset.comment].filter(Boolean);
    const detail = [...named.slice(0, 2), resting, ...named.slice(2)].filter(Boolean).join(" · ");
    known.push({ symbol: dataset.symbol, detail, searched: named.join(" ").toLowerCase() });
    const block = document.querySelector(`#entry-type option[value="${dataset.type}"]`);
    for (const output of block?.dataset.outputs.split(" ") || []) {
      known.push({ symbol: `${dataset.symbol}.${output}`, detail: dataset.type, searched: "" });
    }
  }
  return known;
}

/* What begins with the word first, then what has it anywhere: symbol, address, device, comment. */
function matching(word) {
  const begins = [];
  const holds = [];
  for (const each of symbols()) {
    const symbol = each.symbol.toLowerCase();
    if (symbol === word && word) return [];
    if (symbol.startsWith(word)) begins.push(each);
    else if (word.length > 1 && `${symbol} ${each.searched}`.includes(word)) holds.push(each);
  }
  return [...begins, ...holds].slice(0, 40);
}

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
