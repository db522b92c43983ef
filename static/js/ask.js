// A question to the worker of this page.

/**
 * The worker's answer; null where there is no worker, or no answer.
 * @param {{ask: string} & Record<string, unknown>} message
 * @returns {Promise<any>}
 */
export function ask(message) {
  const inBrowser = "inBrowser" in document.documentElement.dataset;  // there another worker is in charge
  const worker = inBrowser ? null : navigator.serviceWorker?.controller;
  if (!worker) return Promise.resolve(null);
  return new Promise((resolve) => {
    const channel = new MessageChannel();
    channel.port1.onmessage = ({ data }) => resolve(data.answer);
    worker.postMessage(message, [channel.port2]);
  });
}
