"use strict";
(() => {
  const warning = document.getElementById("no-news");
  const said = document.getElementById("said");
  const own = new URLSearchParams(location.search);
  own.set("part", "main");
  let sheet = document.getElementById("sheet");
  let heard = Date.now(); // last sign of life
  let shown = Date.now(); // last sheet
  let owed = 0; // since when a newer sheet is to be had
  let asking = false;
  let stream = null;
  let broken = 0;
  let tryStreamAt = 0;
  let stopped = false;

  const headline = () => {
    const late = document.getElementById("late");
    return (late ? `${late.textContent} ` : "") + document.getElementById("headline").textContent;
  };
  let lastHeadline = headline();

  const pulse = () => {
    const live = stream && stream.readyState === EventSource.OPEN;
    document.getElementById("pulse").textContent = live ? "live" : "asking every few seconds";
  };

  const sayNoNews = (why) => {
    const asOf = sheet.dataset.asOf;
    const text = `No news since ${asOf}. ${why} The sheet below is how it was then, not how it is.`;
    if (warning.textContent !== text) warning.textContent = text;
    warning.hidden = false;
    document.body.classList.add("old");
    document.title = `NO NEWS since ${asOf}`;
    document.getElementById("clock").textContent = asOf;
    document.getElementById("pulse").textContent = "old";
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
    const links = link ? [...sheet.querySelectorAll("a")].filter((part) => part.getAttribute("href") === link) : [];
    const place = links.indexOf(focused);
    sheet.replaceWith(fresh);
    sheet = fresh;
    for (const part of sheet.querySelectorAll("details")) part.open = open.includes(part.id);
    const same = [...sheet.querySelectorAll("a, summary")].filter(
      (part) => (link && part.getAttribute("href") === link) || (summary && part.parentElement.id === summary));
    const again = same[place] || same[0];
    if (again) again.focus({ preventScroll: true });
    document.title = sheet.dataset.title;
    warning.hidden = true;
    document.body.classList.remove("old");
    pulse();
    const words = headline();
    if (words !== lastHeadline) said.textContent = words;
    lastHeadline = words;
  };

  const ask = async () => {
    if (asking) return;
    asking = true;
    const owedBefore = owed;
    const stop = new AbortController();
    const limit = setTimeout(() => stop.abort(), FETCH_WITHIN_MS);
    try {
      const answer = await fetch(`${location.pathname}?${own}`, { cache: "no-store", signal: stop.signal });
      if (!answer.ok) throw new Error(`answered ${answer.status}`);
      const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("sheet");
      if (!fresh) throw new Error("no sheet in the answer");
      if (stopped && stream) return; // a last answer of the agent that stops: a new stream will say that it is back
      stopped = false;
      heard = shown = Date.now();
      broken = 0;
      if (owed === owedBefore) owed = 0;
      show(document.adoptNode(fresh));
    } catch {
      // nothing to do here: the watch below says so once it has lasted
    } finally {
      clearTimeout(limit);
      asking = false;
    }
  };

  const alive = (event) => {
    heard = Date.now();
    broken = 0;
    stopped = false;
    if (warning.hidden) {
      document.getElementById("clock").textContent = JSON.parse(event.data).clock;
      pulse();
    }
  };

  const listen = () => {
    if (stream) stream.close();
    stream = new EventSource("/events");
    stream.addEventListener("beat", alive);
    stream.addEventListener("cycle", (event) => {
      alive(event);
      owed = Date.now();
      ask();
    });
    stream.addEventListener("end", listen);
    stream.addEventListener("stop", () => {
      stopped = true;
      sayNoNews("The agent was stopped.");
    });
    stream.addEventListener("error", () => {
      if (!broken) broken = Date.now();
      if (stream.readyState === EventSource.CLOSED) {
        stream = null;
        tryStreamAt = Date.now() + TRY_STREAM_AGAIN_MS;
        ask();
      }
    });
  };

  const watch = () => {
    const now = Date.now();
    const often = stream ? REFRESH_MS : ASK_WITHOUT_STREAM_MS;
    if (owed || broken || now - shown > often) ask();
    if (!stream && !document.hidden && now > tryStreamAt) listen();
    const silent = now - heard > (document.hidden ? 20 * NO_NEWS_AFTER_MS : NO_NEWS_AFTER_MS);
    const gone = silent || (broken && now - broken > BROKEN_FOR_MS);
    if (gone || stopped) sayNoNews(stopped ? "The agent was stopped." : "The agent does not answer.");
    else if (owed && now - owed > 2 * NO_NEWS_AFTER_MS) sayNoNews("The agent lives, but gives no new sheet.");
  };

  // a page that nobody sees holds no stream: a browser has only a few connections for all its pages
  document.addEventListener("visibilitychange", () => {
    if (document.hidden && stream) {
      stream.close();
      stream = null;
    } else if (!document.hidden) {
      ask();
      listen();
    }
  });
  addEventListener("pageshow", (event) => {
    if (!event.persisted) return;
    heard = 0;
    sayNoNews("This page was put away.");
    ask();
    listen();
  });
  addEventListener("pagehide", () => { if (stream) stream.close(); });
  setInterval(watch, 1000);
  listen();
})();
