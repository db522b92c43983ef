// The report as a page through the phone's own share sheet, where it has one; elsewhere the form saves the page.

const form = document.querySelector("form[data-share]");
const sample = () => new File(["<p>"], "page.html", { type: "text/html" });

function shareable() {
  try {
    return Boolean(navigator.canShare?.({ files: [sample()] }));
  } catch {
    return false;
  }
}

async function pageOf(address) {
  const answer = await fetch(address);
  const name = answer.headers.get("Content-Disposition")?.match(/filename="([^"]+)"/)?.[1];
  if (!answer.ok || !name) throw new Error("no page");
  return new File([await answer.blob()], name, { type: "text/html" });
}

if (form && shareable()) {
  const button = form.querySelector("button");
  const said = form.querySelector("[data-share-answer]");
  button.textContent = "Share";
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    said.textContent = "";
    const address = `${form.action}?${new URLSearchParams(new FormData(form))}`;
    const file = await pageOf(address).catch(() => null);
    if (!file) {
      said.textContent = "pitapp does not answer, and the page is made there. Try again when it runs.";
      return;
    }
    try {
      await navigator.share({ files: [file], title: form.dataset.title });
    } catch (error) {
      if (error.name !== "AbortError") said.textContent = "This phone did not take the page.";
    }
  });
}
