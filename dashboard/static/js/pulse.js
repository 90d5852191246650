// A worker's timer runs on while the page is hidden; the page's own would be slowed to a minute.
setInterval(() => postMessage(0), 250);
