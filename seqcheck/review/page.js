// Adds to a review page what needs a script: sorting and filtering of tables, and the step-through replay of runs.
// Everything else stands in the page without it. Text from the file is only ever set as text.
"use strict";

(() => {
  const make = (name, attributes, ...children) => {
    const element = document.createElement(name);
    for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
    element.append(...children);
    return element;
  };

  // --- tables: sorting ---
  const keyOf = (row, place, numbers) => {
    const cell = row.cells[place];
    const key = cell.dataset.key ?? cell.textContent.trim();
    if (!numbers && cell.dataset.key === undefined) return key;
    const number = parseFloat(key.replaceAll(",", ""));
    return Number.isNaN(number) ? (numbers ? -Infinity : key) : number;
  };

  const compared = (one, other) =>
    typeof one === "number" && typeof other === "number"
      ? (one > other) - (one < other)
      : String(one).localeCompare(String(other), "en", { numeric: true });

  const sortBy = (table, head, place) => {
    const down = head.getAttribute("aria-sort") === "ascending";
    for (const other of table.tHead.rows[0].cells) other.removeAttribute("aria-sort");
    head.setAttribute("aria-sort", down ? "descending" : "ascending");
    const numbers = head.dataset.sort === "number";
    const body = table.tBodies[0];
    const rows = [...body.rows].map((row) => [keyOf(row, place, numbers), row]);
    rows.sort((one, other) => (down ? -1 : 1) * compared(one[0], other[0]));
    body.append(...rows.map((pair) => pair[1]));
  };

  const makeSortable = (table) => {
    [...table.tHead.rows[0].cells].forEach((head, place) => {
      if (!head.dataset.sort) return;
      const button = make("button", { type: "button", class: "sort" }, ...head.childNodes);
      button.addEventListener("click", () => sortBy(table, head, place));
      head.append(button);
    });
  };

  // --- tables: filtering ---
  const makeFilterable = (holder) => {
    const table = holder.querySelector("table");
    const rows = [...table.tBodies[0].rows];
    const input = make("input", { type: "search", id: `${table.id}-filter`, autocomplete: "off" });
    const count = make("span", { role: "status", class: "count" });
    const label = make("label", { for: input.id }, "Show only rows that contain ");
    input.setAttribute("aria-describedby", table.caption.id);
    const apply = () => {
      const wanted = input.value.trim().toLowerCase();
      let left = 0;
      for (const row of rows) {
        const fits = row.textContent.toLowerCase().includes(wanted);
        row.classList.toggle("left-out", !fits);
        left += fits;
      }
      count.textContent = `${left} of ${rows.length} rows shown`;
    };
    input.addEventListener("input", apply);
    holder.prepend(make("div", { class: "filter" }, label, input, " ", count));
    apply();
  };

  // --- step-through replay ---
  const source = document.getElementById("replay-data");
  const data = source ? JSON.parse(source.textContent) : { items: [], runs: {} };

  const framesOf = (run) => {
    const frames = [run.start];
    for (const step of run.steps) {
      const frame = [...frames[frames.length - 1]];
      for (const [place, value] of step.set) frame[place] = value;
      frames.push(frame);
    }
    return frames;
  };

  const boardOf = (holder) => {
    const groups = new Map();
    const lines = data.items.map(([spoken, group]) => {
      if (!groups.has(group)) groups.set(group, make("tbody", {}));
      const value = make("td", { class: "value" });
      const was = make("td", { class: "was" });
      const line = make("tr", {}, make("th", { scope: "row" }, spoken), value, was);
      groups.get(group).append(line);
      return { line, value, was };
    });
    const board = make("div", { class: "board" });
    for (const [group, body] of groups) {
      board.append(make("table", {}, make("caption", {}, group), body));
    }
    holder.append(board);
    return lines;
  };

  const build = (holder) => {
    const run = data.runs[holder.dataset.run];
    if (!run || holder.classList.contains("built")) return;
    holder.classList.add("built");
    const frames = framesOf(run);
    const last = frames.length - 1;
    let now = 0;
    for (const [key, value] of [["role", "group"], ["tabindex", "0"], ["aria-label", `Step through the run of ${run.id}`]]) {
      holder.setAttribute(key, value);
    }
    const said = make("p", { role: "status", class: "said" });
    const buttons = [
      ["Start", () => 0],
      ["Back", () => now - 1],
      ["Forward", () => now + 1],
      ["End", () => last],
    ].map(([word, place]) => {
      const button = make("button", { type: "button" }, word);
      button.addEventListener("click", () => show(place()));
      return button;
    });
    holder.append(
      make("p", { class: "keys" }, make("strong", {}, "Step through. "), "Buttons, or the keys \u2190 \u2192 Home End while this box has the focus."),
      make("div", { class: "steer" }, ...buttons),
      said,
    );
    const lines = boardOf(holder);

    const show = (wanted) => {
      now = Math.min(last, Math.max(0, wanted));
      const frame = frames[now];
      const before = now ? frames[now - 1] : frame;
      const changed = [];
      lines.forEach(({ line, value, was }, place) => {
        const moved = frame[place] !== before[place];
        line.classList.toggle("changed", moved);
        value.textContent = frame[place];
        was.textContent = moved ? `\u25c4 was ${before[place]}` : "";
        if (moved) changed.push(`${data.items[place][0]}: ${frame[place]}`);
      });
      const step = now ? run.steps[now - 1] : null;
      const which = step && step.number ? `step ${step.number}` : "waiting";
      const where = step ? `${now} of ${last}, ${which}, at ${step.at}` : `Start, 0 of ${last}`;
      const told = step ? step.told : "This is how it stands before anything happens.";
      said.replaceChildren(make("strong", {}, `${where}: `), told, changed.length ? ` Changed: ${changed.join("; ")}.` : "");
      buttons.slice(0, 2).forEach((button) => button.setAttribute("aria-disabled", String(now === 0)));
      buttons.slice(2).forEach((button) => button.setAttribute("aria-disabled", String(now === last)));
      holder.dataset.at = now;
    };
    holder.addEventListener("keydown", (event) => {
      if (event.ctrlKey || event.metaKey || event.altKey || event.shiftKey) return;
      const wanted = { ArrowLeft: now - 1, ArrowRight: now + 1, Home: 0, End: last }[event.key];
      if (wanted === undefined) return;
      event.preventDefault();
      show(wanted);
    });
    show(0);
  };

  // --- what is folded ---
  const openAround = () => {
    const id = decodeURIComponent(location.hash.slice(1));
    const aim = id ? document.getElementById(id) : null;
    if (!aim) return;
    let opened = false;
    for (let around = aim; around; around = around.parentElement) {
      if (around.tagName === "DETAILS" && !around.open) opened = around.open = true;
    }
    if (opened) aim.scrollIntoView();
  };

  document.querySelectorAll("table.sortable").forEach(makeSortable);
  document.querySelectorAll(".filterable").forEach(makeFilterable);
  document.querySelectorAll(".replay").forEach((holder) => {
    const folded = holder.closest("details");
    if (!folded || folded.open) build(holder);
    else folded.addEventListener("toggle", () => build(holder), { once: true });
  });
  window.addEventListener("hashchange", openAround);
  openAround();
})();
