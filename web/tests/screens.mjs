// Pictures of every state of the page, to be looked at: node screens.mjs FOLDER
import { mkdir } from "node:fs/promises";
import { join } from "node:path";
import { walewise } from "./command.mjs";
import { answered, desktop, launch, measure, phone, sample, serve, visit } from "./site.mjs";

const out = process.argv[2] ?? "screenshots";
const only = process.argv[3];
await mkdir(out, { recursive: true });
const site = await serve();
const browser = await launch();

const states = {
  async empty() {},
  async measuring(page) {
    await page.evaluate(() => (document.body.dataset.hold = "1"));
    await page.setInputFiles("#choose", sample("stockinette-steel-ruler.jpg"));
    await page.waitForSelector(".stages .now");
  },
  async answer(page) {
    await measure(page, sample("stockinette-steel-ruler.jpg"), "stockinette");
    await page.fill("#wanted-stitches", "22");
    await page.fill("#wanted-rows", "30");
    await page.waitForSelector("#wanted .verdict", { timeout: 30_000 });
  },
  async refusal(page) {
    await measure(page, sample("no-ruler.jpg"), "stockinette");
  },
  async rivals(page) {
    const photo = join(out, "rivals.jpg");
    await walewise("sample", "--seed", "7", "--stitch", "garter", photo);
    await measure(page, photo, "");
    await page.waitForFunction(() => [...document.querySelectorAll(".crop")].every((one) => one.matches(".there")));
  },
  async hand(page) {
    await measure(page, sample("no-ruler.jpg"), "stockinette");
    await page.selectOption("#scale", "span");
    await page.locator("#hand input[inputmode=decimal]").first().fill("5");
    await page.waitForSelector(".figures");
    for (const part of ["region", "axes", "count", "stitch"]) await page.click(`[data-part=${part}] summary`);
    await page.check("#use-region");
    await page.check("#use-axes");
    await page.waitForTimeout(800);
    await page.waitForFunction(() => !document.querySelector("#measure [aria-busy=true]"));
  },
  async count(page) {
    await measure(page, sample("stockinette-steel-ruler.jpg"), "stockinette");
    await page.click("[data-part=count] summary");
    await page.selectOption("#count-over", "corners");
    await page.fill("#count-0", "9");
    await page.fill("#count-1", "13");
    await page.waitForSelector("#basis li:has-text('counted by you')");
  },
  async cast(page) {
    await measure(page, sample("garter-inch-ruler.jpg"), "garter");
    await page.click("#measure .main-button");
    await page.fill("#cast-width", "56");
    await page.fill("#cast-ease", "-5");
    await page.fill("#cast-length", "20");
    await page.fill("#cast-multiple", "4");
    await page.waitForSelector("#cast-count");
  },
  async log(page) {
    for (const [name, pattern, yarn] of [["garter-inch-ruler.jpg", "garter", "Grey lambswool"], ["stockinette-steel-ruler.jpg", "stockinette", "Undyed alpaca"]]) {
      await page.goto(site.url);
      await measure(page, sample(name), pattern);
      await page.click("#keep");
      await page.fill("#keep-form input >> nth=0", yarn);
      await page.fill("#keep-form input >> nth=1", "3.75");
      if (yarn.startsWith("Grey")) await page.screenshot({ path: join(out, "keep.png"), fullPage: true });
      await page.click("#keep-form .main-button");
      await page.waitForSelector("#kept");
    }
    await page.click("nav a[href='#swatches']");
    await page.waitForSelector(".swatch");
    for (const number of [1, 2]) await page.click(`[data-swatch='${number}'] button:has-text("Compare")`);
    await page.waitForSelector("#comparison");
  },
};

/** What a look would find, too: what is wider than the window, and what is too small to touch. */
const faults = (page) => page.evaluate(() => {
  const out = [];
  const { scrollWidth, clientWidth } = document.documentElement;
  if (scrollWidth > clientWidth) out.push(`${scrollWidth} px wide in ${clientWidth}`);
  for (const one of document.querySelectorAll("a, button, select, summary, input:not([type=file], [type=radio])")) {
    const { width, height } = one.getBoundingClientRect();
    if (width > 0 && Math.min(width, height) < 24 && !one.matches(".skip")) out.push(`${one.outerHTML.slice(0, 60)}: ${Math.round(width)} x ${Math.round(height)}`);
    if (one.scrollWidth > one.clientWidth + 1 && one.matches("button, .button")) out.push(`cut off: ${one.textContent}`);
  }
  return out;
});

for (const [state, act] of Object.entries(states)) {
  if (only && !only.split(",").includes(state)) continue;
  for (const [size, options] of Object.entries({ desktop, phone })) {
    const { context, page, complaints } = await visit(browser, site, { ...options, colorScheme: "light", deviceScaleFactor: 1 });
    await act(page).catch((error) => console.log(state, size, String(error).slice(0, 300)));
    for (const scheme of ["light", "dark"]) {
      await page.emulateMedia({ colorScheme: scheme });
      await page.screenshot({ path: join(out, `${state}-${size}-${scheme}.png`), fullPage: true });
    }
    const found = await faults(page);
    await page.emulateMedia({ colorScheme: "light", reducedMotion: "reduce" });
    await page.evaluate(() => (document.documentElement.style.fontSize = "200%"));
    await page.screenshot({ path: join(out, `${state}-${size}-large.png`), fullPage: true });
    found.push(...(await faults(page)).map((fault) => `with letters twice as large: ${fault}`));
    for (const fault of found) console.log(state, size, fault);
    if (complaints.length) console.log(state, size, complaints);
    await context.close();
  }
}
await browser.close();
await site.close();
