"use strict";
(() => {
  const warning = document.getElementById("no-news");
  let sheet = document.getElementById("sheet");
  let lastGood = Date.now();
  let asking = false;

  const sayNoNews = () => {
    const asOf = sheet.dataset.asOf;
    warning.textContent = `No news since ${asOf}. The agent does not answer; the sheet below is how it was then, not how it is.`;
    warning.hidden = false;
    document.body.classList.add("old");
    document.title = `NO NEWS since ${asOf}`;
  };

  const show = (fresh) => {
    if (fresh.dataset.build !== sheet.dataset.build) {
      location.reload();
      return;
    }
    const open = [...sheet.querySelectorAll("details[open]")].map((part) => part.id);
    const focused = document.activeElement;
    const link = sheet.contains(focused) ? focused.getAttribute("href") : null;
    const summary = sheet.contains(focused) && focused.tagName === "SUMMARY" ? focused.parentElement.id : null;
    sheet.replaceWith(fresh);
    sheet = fresh;
    for (const part of sheet.querySelectorAll("details")) part.open = open.includes(part.id);
    const again = [...sheet.querySelectorAll("a, summary")].find(
      (part) => (link && part.getAttribute("href") === link) || (summary && part.parentElement.id === summary));
    if (again) again.focus({ preventScroll: true });
    document.title = sheet.dataset.title;
    warning.hidden = true;
    document.body.classList.remove("old");
  };

  const ask = async () => {
    if (asking) return;
    asking = true;
    const stop = new AbortController();
    const alarm = setTimeout(() => stop.abort(), FETCH_WITHIN_MS);
    try {
      const answer = await fetch(`${location.pathname}?part=main`, { cache: "no-store", signal: stop.signal });
      if (!answer.ok) throw new Error(`answered ${answer.status}`);
      const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("sheet");
      if (!fresh) throw new Error("no sheet in the answer");
      lastGood = Date.now();
      show(document.adoptNode(fresh));
    } catch {
      // nothing to do here: the watch below says so once it has lasted
    } finally {
      clearTimeout(alarm);
      asking = false;
    }
  };

  setInterval(ask, REFRESH_MS);
  setInterval(() => { if (Date.now() - lastGood > NO_NEWS_AFTER_MS) sayNoNews(); }, 1000);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) ask(); });
  addEventListener("pageshow", (event) => { if (event.persisted) { lastGood = 0; sayNoNews(); ask(); } });
})();
