// A button that copies a command, beside every block that is meant to be copied.
const SHOWN_MILLISECONDS = 2000;

for (const block of document.querySelectorAll("pre[data-copy]")) {
  const command = block.textContent;
  const frame = document.createElement("div");
  const button = document.createElement("button");
  frame.className = "copied";
  button.type = "button";
  button.textContent = "Copy";
  block.replaceWith(frame);
  frame.append(block, button);
  button.addEventListener("click", async () => {
    try {
      await navigator.clipboard.writeText(command);
      button.textContent = "Copied";
    } catch {
      getSelection().selectAllChildren(block); // no clipboard without TLS: leave it selected
      button.textContent = "Selected: copy it";
    }
    setTimeout(() => { button.textContent = "Copy"; }, SHOWN_MILLISECONDS);
  });
}
