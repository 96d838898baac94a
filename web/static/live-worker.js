// One stream of changes for all pages of a browser: a browser has few connections to one address. Its name is the
// address of the stream. See live.js.

const ports = new Set();
let source = null;

function open() {
  source = new EventSource(self.name);
  source.onmessage = ({ data }) => ports.forEach((port) => port.postMessage(JSON.parse(data)));
}

self.onconnect = ({ ports: [port] }) => {
  ports.add(port);
  port.onmessage = () => {
    ports.delete(port);
    if (!ports.size) {
      source?.close();
      source = null;
    }
  };
  // After signing out it stays closed until somebody opens a page again.
  if (!source || source.readyState === EventSource.CLOSED) open();
};
