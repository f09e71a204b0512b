// Ends this browser's session and shows the first page as a stranger sees it.
for (const button of document.querySelectorAll("[data-sign-out]")) {
  button.hidden = false;
  button.addEventListener("click", async () => {
    button.disabled = true;
    const answer = await fetch("/v1/sessions/current", { method: "DELETE" }).catch(() => null);
    if (answer && (answer.ok || answer.status === 401)) {
      await globalThis.caches?.delete("ooid pages"); // what the form for phones keeps to be read; what waits there stays
      location.assign("/");
    } else {
      button.disabled = false;
      button.textContent = "Not signed out: try again";
    }
  });
}
