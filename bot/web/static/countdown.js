/* The little that needs a script. Without it every page still works; it is then as old as its load.
 *
 * 1. A page that has stopped updating says so.
 * 2. What someone is writing is never replaced by an update.
 * 3. A warning before the session ends.
 */
"use strict";
(function () {
  const STALE_MS = 30000; // three polls missed
  const WARN_SECONDS = 120; // WCAG 2.2.1 asks for at least 20 seconds' warning
  let lastGood = Date.now();

  const polls = () => document.querySelector("[data-live]") !== null;

  function showStopped(stopped) {
    const notice = document.getElementById("stopped");
    if (!notice || notice.hidden === !stopped) return;
    if (stopped) {
      const since = new Date(lastGood).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
      notice.querySelector("[data-since]").textContent = "It shows what was known at " + since + ".";
    }
    notice.hidden = !stopped;
    document.body.classList.toggle("stale", stopped);
  }

  /* By its address: the element that asked is gone once the answer has taken its place. */
  const isLive = (event) => event.detail.pathInfo && event.detail.pathInfo.requestPath.startsWith("/live/");

  document.addEventListener("htmx:afterRequest", (event) => {
    if (!isLive(event)) return;
    if (event.detail.successful) lastGood = Date.now();
    showStopped(!event.detail.successful);
  });
  setInterval(() => polls() && Date.now() - lastGood > STALE_MS && showStopped(true), 5000);

  /* An update waits while something is being written in its area. */
  function inUse(area) {
    return Array.from(area.querySelectorAll("textarea, input, select")).some((field) =>
      field.type !== "hidden" && (field === document.activeElement || changed(field)));
  }
  function changed(field) {
    if (field.tagName === "SELECT") return !field.options[field.selectedIndex].defaultSelected && field.selectedIndex > 0;
    return field.value !== field.defaultValue;
  }
  let opened = []; // what the reader had unfolded stays unfolded
  document.addEventListener("htmx:beforeSwap", (event) => {
    const area = event.detail.target;
    if (!area || !area.hasAttribute("data-live")) return;
    opened = Array.from(area.querySelectorAll("details[open]"), (one) => one.id);
    if (!inUse(area)) return;
    event.detail.shouldSwap = false;
    const waiting = area.querySelector("[data-waiting]");
    if (waiting) waiting.hidden = event.detail.xhr.getResponseHeader("X-Content-Mark") === area.dataset.mark;
  });
  document.addEventListener("htmx:afterSettle", (event) => {
    if (event.target.id === "session") begin();
    const area = document.querySelector("[data-live]");
    if (!area || event.target !== area) return;
    opened.forEach((id) => { const one = document.getElementById(id); if (one) one.open = true; });
    if (area.dataset.title) document.title = area.dataset.title;
  });

  /* The session's end. */
  let ends = 0;
  function begin() {
    const session = document.getElementById("session");
    ends = session ? Date.now() + Number(session.dataset.seconds) * 1000 : 0;
    if (session) session.classList.remove("warning");
  }
  setInterval(() => {
    const session = document.getElementById("session");
    if (!session || !ends) return;
    const left = Math.round((ends - Date.now()) / 1000);
    if (left > WARN_SECONDS) return;
    session.classList.add("warning");
    session.setAttribute("role", "alert");
    if (left <= 0) {
      session.querySelector("p").firstChild.textContent = "You have been signed out. Sign in again to go on. ";
      showStopped(polls());
    }
  }, 1000);
  document.addEventListener("DOMContentLoaded", begin);
  if (document.readyState !== "loading") begin();
})();
