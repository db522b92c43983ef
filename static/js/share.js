// A file through the phone's own share sheet, where it has one that takes such a file; elsewhere the form saves it.
// A form that is hidden is shown there only; the one that `data-then` names is sent when the file was taken.

const form = document.querySelector("form[data-share]");
const { type = "text/html", ending = ".html" } = form?.dataset ?? {};
const sample = () => new File(["<p>"], `file${ending}`, { type });

function shareable() {
  try {
    return Boolean(navigator.canShare?.({ files: [sample()] }));
  } catch {
    return false;
  }
}

async function fileOf(address) {
  const answer = await fetch(address);
  const name = answer.headers.get("Content-Disposition")?.match(/filename="?([^";]+)/)?.[1];
  if (!answer.ok || !name) throw new Error("no file");
  return new File([await answer.blob()], name, { type });
}

if (form && shareable()) {
  const button = form.querySelector("button");
  const said = form.querySelector("[data-share-answer]");
  form.hidden = false;
  button.textContent = "Share";
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    said.textContent = "";
    const address = `${form.action}?${new URLSearchParams(new FormData(form))}`;
    const file = await fileOf(address).catch(() => null);
    if (!file) {
      said.textContent = "pitapp does not answer, and the file is made there. Try again when it runs.";
      return;
    }
    try {
      await navigator.share({ files: [file], title: form.dataset.title });
    } catch (error) {
      if (error.name !== "AbortError") said.textContent = "This phone did not take the file.";
      return;
    }
    document.getElementById(form.dataset.then)?.requestSubmit();
  });
}
