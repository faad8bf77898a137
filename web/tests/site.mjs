// The built page on a port of this machine, and a browser that may reach nothing else.
import { createServer } from "node:http";
import { readFile } from "node:fs/promises";
import { mkdtemp, rm } from "node:fs/promises";
import { tmpdir } from "node:os";
import { extname, join, normalize } from "node:path";
import { fileURLToPath } from "node:url";
import { chromium } from "playwright-core";

export const root = fileURLToPath(new URL("../..", import.meta.url));
export const dist = process.env.WALEWISE_PAGE ?? join(root, "web/dist");
export const browserPath = process.env.WALEWISE_CHROMIUM ?? "/usr/bin/chromium";

const TYPES = { ".html": "text/html; charset=utf-8", ".js": "text/javascript", ".css": "text/css", ".svg": "image/svg+xml", ".png": "image/png", ".wasm": "application/wasm", ".webmanifest": "application/manifest+json" };

/** Serves the built page; `close()` ends it, `down` set to true makes it answer nothing. */
export async function serve() {
  const site = { down: false };
  const server = createServer(async (request, response) => {
    if (site.down) return request.socket.destroy();
    const path = normalize(decodeURIComponent(new URL(request.url, "http://x").pathname)).replace(/^\/$/, "/index.html");
    try {
      const body = await readFile(join(dist, path));
      response.writeHead(200, { "content-type": TYPES[extname(path)] ?? "application/octet-stream" });
      return response.end(body);
    } catch {
      response.writeHead(404);
      return response.end();
    }
  });
  await new Promise((done) => server.listen(0, "127.0.0.1", done));
  site.url = `http://127.0.0.1:${server.address().port}/`;
  site.close = () => {
    server.closeAllConnections();
    return new Promise((done) => server.close(done));
  };
  return site;
}

const FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync", "--disable-dev-shm-usage"];

export const launch = () => chromium.launch({ executablePath: browserPath, args: FLAGS, timeout: 240_000 });

export const desktop = { viewport: { width: 1280, height: 800 } };
export const phone = { viewport: { width: 390, height: 844 }, hasTouch: true, isMobile: true, deviceScaleFactor: 2 };

/**
 * A page of its own that notes every request beyond the page's own origin, every error and every word of the console that
 * complains; `complaints` holds them.
 */
export async function visit(browser, site, options = desktop, path = "") {
  const context = await browser.newContext({ acceptDownloads: true, ...options });
  const complaints = [];
  context.on("request", (request) => {
    const url = request.url();
    if (!url.startsWith(site.url) && !url.startsWith(`blob:${site.url}`)) complaints.push(`request to ${url}`);
  });
  context.on("weberror", (error) => complaints.push(`error: ${error.error().message}`));
  context.on("console", (message) => ["error", "warning"].includes(message.type()) && complaints.push(`console: ${message.text()}`));
  const page = await context.newPage();
  page.setDefaultTimeout(120_000);
  await page.goto(site.url + path, { timeout: 120_000 });
  await page.waitForFunction(() => document.querySelector("#version").textContent !== "", null, { timeout: 120_000 });
  return { context, page, complaints };
}

/** The file of a sample photo. */
export const sample = (name) => join(root, "sample-photos", name);

/** Gives photos to the page and waits for what comes of them. */
export async function measure(page, files, pattern) {
  if (pattern !== undefined) await page.selectOption("#measure #pattern", pattern);
  await page.setInputFiles("#choose", files);
  await answered(page);
}

export const answered = (page) => page.waitForSelector("#measure .figures, #measure #help, #measure .failed", { timeout: 240_000 });

/** A folder for files of one test. */
export async function folder(work) {
  const path = await mkdtemp(join(tmpdir(), "walewise-page-"));
  try {
    return await work(path);
  } finally {
    await rm(path, { recursive: true, force: true });
  }
}
