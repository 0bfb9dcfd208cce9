// Sends without leaving the page and looks for new lines; without this script the form works by itself.
(() => {
  const page = document.querySelector("main.chat"), form = page.querySelector("form");
  const talk = page.querySelector(".talk"), status = page.querySelector(".status"), field = form.elements.text;
  const words = page.dataset;
  let last = Number(words.last), pause = 4000, timer = 0;
  page.querySelector(".no-script").hidden = true;

  const show = (line) => {
    const item = document.createElement("p"), from = document.createElement("span");
    item.className = line.mine ? "mine" : "ours";
    from.className = "from";
    from.textContent = line.mine ? words.you : line.who || words.us;
    item.append(from, line.text);
    talk.append(item);
    last = Math.max(last, line.id);
  };

  const look = async () => {
    clearTimeout(timer);
    try {
      const answer = await fetch(`${words.new}?after=${last}`, { cache: "no-store" });
      if (answer.ok) {
        const found = await answer.json();
        form.elements.once.value = found.once;
        found.lines.forEach(show);
        pause = found.lines.length ? 4000 : Math.min(pause * 1.3, 30000);
        if (found.lines.length) talk.lastElementChild.scrollIntoView({ block: "nearest" });
      }
    } catch { pause = Math.min(pause * 2, 60000); }
    if (!document.hidden) timer = setTimeout(look, pause);
  };

  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const button = form.querySelector("button");
    status.textContent = words.waiting;
    button.disabled = true;
    try {
      const answer = await fetch(form.action, { method: "POST", body: new URLSearchParams(new FormData(form)), headers: { "X-Script": "1" } });
      if (!answer.ok) throw answer.status;
      field.value = status.textContent = "";
      pause = 4000;
      await look();
    } catch (trouble) { status.textContent = trouble === 429 ? words.many : words.failed; }
    button.disabled = false;
    field.focus();
  });
  document.addEventListener("visibilitychange", () => { if (!document.hidden) { pause = 4000; look(); } });
  timer = setTimeout(look, pause);
})();
