// What a stop at the chosen layer would leave: a question, nothing is changed by asking.
const box = document.querySelector("[data-scene]");
const whatif = { button: document.querySelector(".show-fates"), box: document.querySelector(".fates"), asked: 0, timer: 0 };

export function askStop(view, layer) {
  clearTimeout(whatif.timer);
  if (whatif.button.getAttribute("aria-pressed") !== "true") return;
  whatif.timer = setTimeout(async () => {
    const mine = ++whatif.asked, head = whatif.box.querySelector(".fates-head");
    try {
      const answer = await fetch(box.dataset.stop + "?layer=" + layer);
      if (!answer.ok) throw new Error(String(answer.status));
      const after = await answer.json();
      if (mine === whatif.asked) showFates(view, after);
    } catch (wrong) {
      if (mine === whatif.asked) head.textContent = say("The answer could not be loaded ({why}).", { why: wrong.message });
    }
  }, 80);
}

function showFates(view, after) {
  view.fates = new Map(after.fates.map(([piece, , fate]) => [piece, fate]));
  view.paint();
  const sum = (name) => after.lines.reduce((all, line) => all + line[name], 0);
  const told = { layer: after.layer, height: lengthOf(after.at_mm), whole: sum("whole"), doubtful: sum("doubtful"), half: sum("half"),
    open: sum("not_begun"), printed: after.hours_printed.toFixed(1), left: after.hours_open.toFixed(1) };
  whatif.box.querySelector(".fates-head").textContent =
    say("After layer {layer} ({height}): {whole} whole, {doubtful} near the stop, {half} half made, {open} not begun. {printed} h printed, {left} h were to come.", told);
  const rows = after.lines.map((line) => {
    const row = document.createElement("tr"), name = document.createElement("th"), link = document.createElement("a");
    link.href = box.dataset.lines + line.line;
    link.textContent = "L" + String(line.line).padStart(2, "0");
    name.scope = "row";
    name.dataset.name = say("Line");
    name.append(link, " " + view.nest.lines[String(line.line)].title);
    row.append(name);
    const cost = line.again_cost === null ? "–" : line.again_cost.toFixed(2) + " " + box.dataset.currency;
    [[say("Whole"), line.whole], [say("Inspect"), line.doubtful], [say("Scrap"), line.half], [say("Not begun"), line.not_begun], [say("Again"), cost]].forEach(([word, value]) => {
      const cell = document.createElement("td");
      cell.className = "number";
      cell.dataset.name = word;
      cell.textContent = value;
      row.append(cell);
    });
    return row;
  });
  whatif.box.querySelector("tbody").replaceChildren(...rows);
}

export function listenStop(view) {
  whatif.button.addEventListener("click", () => {
    const on = whatif.button.getAttribute("aria-pressed") !== "true";
    whatif.button.setAttribute("aria-pressed", String(on));
    whatif.box.hidden = !on;
    if (on) askStop(view, Number(document.querySelector("#layer").value));
    else { view.fates = null; view.paint(); }
  });
}

