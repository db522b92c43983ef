// On the page that a device meets which was removed: what was typed on it and never saved goes.
const { database } = document.documentElement.dataset;
try {
  for (const key of Object.keys(localStorage)) {
    if (key.startsWith(`pitapp-draft ${database} `)) localStorage.removeItem(key);
  }
} catch { /* this browser keeps nothing */ }
