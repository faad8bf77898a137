// The page in a real browser: node --test. The page must be built (web/build), and the command too, with which it is compared.
import assert from "node:assert/strict";
import { spawn } from "node:child_process";
import { readFileSync, readdirSync, writeFileSync } from "node:fs";
import { createRequire } from "node:module";
import { request } from "node:http";
import { basename, join } from "node:path";
import { after, before, test } from "node:test";
import { brotliCompressSync, constants, gzipSync } from "node:zlib";
import { alike, beside, binary, differences, walewise } from "./command.mjs";
import { withPlace } from "./exif.mjs";
import { desktop, dist, folder, launch, measure, phone, root, sample, serve, visit } from "./site.mjs";

const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const STEEL = sample("stockinette-steel-ruler.jpg");

let site;
let browser;
before(async () => {
  site = await serve();
  browser = await launch();
});
after(async () => {
  await browser.close();
  await site.close();
});

/** A test on a page of its own; whatever the page asked of others, or complained of, fails it. */
function onPage(name, options, work) {
  test(name, { timeout: 300_000 }, async (context) => {
    const visited = await visit(browser, site, options);
    try {
      await work(visited.page, context, visited);
      assert.deepEqual(visited.complaints, []);
    } finally {
      await visited.context.close();
    }
  });
}

/** Nothing that axe-core knows of WCAG 2.2 AA is wrong with the page as it is. */
async function accessible(page, state) {
  // Handed to the page by the test tool, past the page's own policy; the page never loads it.
  await page.evaluate(axe);
  const { violations } = await page.evaluate(() => globalThis.axe.run(document, { runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"] }));
  assert.deepEqual(violations.map((v) => `${state}: ${v.id}: ${v.nodes.map((n) => n.target.join(" ")).join(", ")}`), []);
}

const shownRecord = async (page) => {
  const [download] = await Promise.all([page.waitForEvent("download"), page.getByRole("button", { name: "Save record" }).click()]);
  return JSON.parse(readFileSync(await download.path(), "utf8"));
};
const native = async (photo, options) => JSON.parse((await walewise("measure", photo, ...options, "--json")).out);

onPage("every sample photo: the same decision and numbers as the command", desktop, async (page, context) => {
  await page.evaluate(() => {
    const input = Object.assign(document.createElement("input"), { type: "file", multiple: true, id: "samples" });
    document.body.append(input);
  });
  const photos = readdirSync(join(root, "sample-photos")).filter((name) => name.endsWith(".jpg")).map(sample);
  const told = photos.map(beside);
  // As phones store photos; nothing is said of it.
  photos.push(join(root, "tests/data/rendered-swatch.heic"));
  told.push({ options: [], setup: {} });
  await page.setInputFiles("#samples", photos);
  const setups = told.map(({ setup }) => setup);
  const [records, expected] = await Promise.all([
    page.evaluate(async (setups) => {
      const engine = await import("./engine.js");
      const files = [...document.querySelector("#samples").files];
      const out = [];
      for (const [index, file] of files.entries()) out.push((await engine.measure([file], [setups[index]], setups[index])).answers[0].record);
      return out;
    }, setups),
    Promise.all(photos.map((photo, index) => native(photo, told[index].options))),
  ]);
  assert.ok(photos.length >= 9);
  photos.forEach((photo, index) => {
    const record = JSON.parse(records[index]);
    const { values, halfWidths } = differences(record, expected[index]);
    context.diagnostic(`${basename(photo)}: ${record.status}, values ${values.toExponential(1)}, half-widths ${halfWidths.toExponential(1)} apart; core ${Math.round(record.elapsed_ms.total)} ms, command's ${Math.round(expected[index].elapsed_ms.total)} ms`);
  });
  photos.forEach((photo, index) => alike(JSON.parse(records[index]), expected[index], photo));
});

onPage("from an empty page to the answer, and the wanted gauge", desktop, async (page) => {
  await accessible(page, "empty");
  await measure(page, STEEL, "stockinette");
  const record = await native(STEEL, ["--stitch", "stockinette"]);
  const value = Number(await page.textContent(".figure .value"));
  assert.ok(Math.abs(value - record.gauge.stitches_per_10cm.value) < 0.06);
  alike(await shownRecord(page), record, "steel ruler");
  await page.fill("#wanted-stitches", "22");
  await page.fill("#wanted-rows", "30");
  await page.waitForSelector("#wanted .verdict", { timeout: 150_000 });
  const wanted = await native(STEEL, ["--stitch", "stockinette", "--wanted", "22x30"]);
  alike(await shownRecord(page), wanted, "wanted");
  await accessible(page, "answer");
  await page.emulateMedia({ colorScheme: "dark" });
  await accessible(page, "answer, dark");
});

onPage("the unit is remembered", desktop, async (page) => {
  await measure(page, STEEL, "stockinette");
  const cm = Number(await page.textContent(".figure .value"));
  await page.click("#units label:has([value=in])");
  assert.match(await page.textContent(".figure"), /in 4 inches/);
  assert.ok(Math.abs(Number(await page.textContent(".figure .value")) - 1.016 * cm) < 0.11);
  await page.reload();
  assert.ok(await page.isChecked("#units [value=in]"));
});

onPage("a refusal helps, and a span set by hand answers, on a phone by touch", phone, async (page) => {
  const photo = sample("no-ruler.jpg");
  await measure(page, photo, "stockinette");
  assert.match(await page.textContent("#measure h1"), /ruler/);
  assert.equal(await page.locator("#help svg[role=img]").count(), 1);
  await accessible(page, "refusal");
  await page.selectOption("#scale", "span");
  // The second end goes where the picture is tapped.
  await page.locator("[data-handle=span-1]").scrollIntoViewIfNeeded();
  await page.locator("[data-handle=span-1]").tap();
  const box = await page.locator(".viewer").boundingBox();
  await page.touchscreen.tap(box.x + box.width * 0.8, box.y + box.height * 0.52);
  await page.locator("[data-handle=span-0]").focus();
  await page.keyboard.press("ArrowRight");
  await page.keyboard.press("Shift+ArrowDown");
  await page.locator("#hand [data-part=scale] input").first().fill("6");
  await page.waitForSelector(".figures", { timeout: 150_000 });
  assert.match(await page.textContent("#by-hand"), /two points and a length/);
  const record = await shownRecord(page);
  assert.equal(record.scale.kind, "span");
  const labels = await page.locator(".handle").evaluateAll((all) => all.map((one) => one.getAttribute("aria-label")));
  assert.equal(labels.length, 2);
  // The command says the same of the same two points, which their names tell to the pixel.
  const ends = labels.map((label) => label.match(/(\d+), (\d+)$/).slice(1).join(","));
  const theirs = await native(photo, ["--stitch", "stockinette", "--span", `${ends.join(",")}=60mm`]);
  const off = Math.abs(theirs.gauge.stitches_per_10cm.value / record.gauge.stitches_per_10cm.value - 1);
  assert.ok(off < 0.005, `${off}`);
  await accessible(page, "set by hand");
  const wide = await page.evaluate(() => document.documentElement.scrollWidth);
  assert.ok(wide <= phone.viewport.width, `the page is ${wide} px wide`);
});

onPage("rival readings can be chosen, a region and a direction set by keys", desktop, async (page) => {
  await measure(page, sample("rib-2x2-inch-ruler.jpg"), "");
  if (await page.locator("#rivals button").count()) {
    await page.locator("#rivals button").first().click();
    await page.waitForFunction(() => document.querySelector("#by-hand") || document.querySelector("#measure .problem") || document.querySelector("#help"));
  }
  await page.evaluate(() => (document.querySelector("[data-part=stitch]").open = true));
  await page.selectOption("#hand #pattern", "rib-2x2");
  await page.waitForSelector("#by-hand", { timeout: 150_000 });
  await page.click("[data-part=region] summary");
  await page.check("#use-region");
  await page.locator("[data-handle=region-0]").focus();
  await page.keyboard.press("Shift+ArrowRight");
  await page.waitForFunction(() => /part of the photo/.test(document.querySelector("#by-hand")?.textContent ?? ""), null, { timeout: 150_000 });
  await page.click("[data-part=axes] summary");
  await page.check("#use-axes");
  await page.waitForFunction(() => /direction of the rows/.test(document.querySelector("#by-hand")?.textContent ?? document.querySelector("#help")?.textContent ?? ""), null, { timeout: 150_000 });
  const record = await shownRecord(page);
  assert.ok(record.lattice.decision.declared.includes("region") && record.lattice.decision.declared.includes("row_direction"));
});

onPage("several photos of one swatch make one answer", desktop, async (page) => {
  await folder(async (path) => {
    const twin = join(path, "again.jpg");
    // The same picture in another file: one byte of comment more after the start of the JPEG.
    const bytes = readFileSync(STEEL);
    writeFileSync(twin, Buffer.concat([bytes.subarray(0, 2), Buffer.from([0xff, 0xfe, 0x00, 0x03, 0x41]), bytes.subarray(2)]));
    await measure(page, [STEEL, twin], "stockinette");
    assert.match(await page.textContent("#measure"), /From 2 photos together/);
    const { out } = await walewise("measure", STEEL, twin, "--same-swatch", "--stitch", "stockinette", "--json");
    const record = await shownRecord(page);
    assert.equal(record.photos.length, 2);
    alike(record, JSON.parse(out), "together");
  });
});

onPage("what can't be read, and stopping", desktop, async (page) => {
  await folder(async (path) => {
    writeFileSync(join(path, "broken.jpg"), "no picture");
    await page.setInputFiles("#choose", join(path, "broken.jpg"));
    await page.waitForFunction(() => /can't open/.test(document.querySelector("#measure h1").textContent));
  });
  await page.reload();
  await page.setInputFiles("#choose", sample("basket-wooden-ruler.jpg"));
  await page.getByRole("button", { name: "Stop" }).click();
  await page.waitForSelector("#choose");
  await measure(page, STEEL, "stockinette");
  await page.waitForSelector(".figures", { timeout: 150_000 });
});

onPage("from the answer to a cast-on: the command's counts", desktop, async (page) => {
  await measure(page, sample("garter-inch-ruler.jpg"), "garter");
  const record = await shownRecord(page);
  await page.getByRole("button", { name: "Cast on with this" }).click();
  for (const [name, value] of Object.entries({ width: "56", ease: "-5", length: "20", multiple: "4", tolerance: "2" })) await page.fill(`#cast-${name}`, value);
  await page.waitForSelector("#cast-row-count");
  await page.waitForTimeout(500);
  await folder(async (path) => {
    const file = join(path, "swatch.json");
    writeFileSync(file, JSON.stringify(record));
    const { out, err } = await walewise("plan", "--measurement", file, "--width", "56 cm", "--ease=-5 cm", "--length", "20 cm", "--multiple", "4", "--tolerance", "2 cm", "--json");
    assert.ok(out, err);
    const part = JSON.parse(out).pieces[0].sizes[0].parts[0];
    assert.equal(Number(await page.textContent("#cast-count .big-count")), part.stitches.count);
    assert.equal(Number(await page.textContent("#cast-row-count .big-count")), part.rows.count);
    const rows = await page.locator("#cast-on tbody tr").allTextContents();
    assert.equal(rows.length, part.stitches.castable.candidates.length);
  });
  await accessible(page, "cast on");
});

onPage("the log goes to the command line and back without loss, and no place with it", desktop, async (page) => {
  await folder(async (path) => {
    const placed = join(path, "placed.jpg");
    writeFileSync(placed, withPlace(readFileSync(STEEL)));
    await measure(page, placed, "stockinette");
    await page.click("#keep");
    await page.fill("#keep-form input >> nth=0", 'Grey "lambswool" ✿');
    await page.fill("#keep-form input >> nth=1", "3,75");
    await page.selectOption("#keep-form select", "washed");
    await page.getByRole("button", { name: "Keep", exact: true }).click();
    await page.waitForSelector("#kept");
    const [picture] = await Promise.all([page.waitForEvent("download"), page.getByRole("button", { name: "Save picture" }).click()]);
    assert.ok(!readFileSync(await picture.path()).includes("Exif"), "the picture holds no EXIF");
    await page.click("nav a[href='#swatches']");
    await page.waitForSelector("[data-swatch='1']");
    await accessible(page, "swatches");
    const exported = async (to) => {
      const [download] = await Promise.all([page.waitForEvent("download"), page.click("#export")]);
      await download.saveAs(join(path, to));
      return readFileSync(join(path, to), "utf8");
    };
    const ours = await exported("ours.jsonl");
    assert.ok(!/gps|latitude|longitude|52\.37/i.test(ours), "no place is kept");
    // To the command line, beside a hand count of its own, and back.
    const log = ["log", "--logbook", join(path, "log.sqlite")];
    assert.match((await walewise(...log, "import", join(path, "ours.jsonl"))).out, /1 added/);
    assert.equal((await walewise(...log, "count", "20x28", "--over", "100", "--yarn", "Alpaca", "--stitch", "garter")).status, 0);
    const back = join(path, "back.jsonl");
    assert.equal((await walewise(...log, "export", back)).status, 0);
    const theirs = readFileSync(back, "utf8").trim().split("\n");
    assert.equal(theirs.length, 2);
    assert.deepEqual(JSON.parse(theirs[0]), JSON.parse(ours));
    await page.setInputFiles("#import", back);
    await page.waitForFunction(() => /1 added, 1 there already\./.test(document.querySelector("#log-message")?.textContent ?? ""));
    assert.match(await page.textContent("[data-swatch='2']"), /20\.0\s±\s0\.5 stitches, 28\.0\s±\s0\.5 rows/);
    // What was brought in goes out word for word.
    assert.equal((await exported("both.jsonl")).trim().split("\n")[1], theirs[1]);
    await page.locator("[data-swatch='2'] button", { hasText: "Delete" }).click();
    await page.waitForFunction(() => !document.querySelector("[data-swatch='2']"));
    assert.match((await walewise("log", "--logbook", join(path, "new.sqlite"), "import", (await exported("deleted.jsonl"), join(path, "deleted.jsonl")))).out, /2 added/);
    await page.getByRole("button", { name: "Undo" }).click();
    await page.waitForSelector("[data-swatch='2']");
    writeFileSync(join(path, "wrong.jsonl"), '{"schema":"walewise.swatch/9"}\n');
    await page.setInputFiles("#import", join(path, "wrong.jsonl"));
    await page.waitForFunction(() => /Line 1/.test(document.querySelector("#log-message")?.textContent ?? ""));
  });
});

test("without a network after the first visit", { timeout: 120_000 }, async () => {
  const { context, page, complaints } = await visit(browser, site, phone);
  try {
    await page.evaluate(() => navigator.serviceWorker.ready);
    await page.waitForFunction(() => navigator.serviceWorker.controller);
    site.down = true;
    await page.reload();
    await measure(page, STEEL, "stockinette");
    await page.waitForSelector(".figures", { timeout: 150_000 });
    assert.deepEqual(complaints, []);
  } finally {
    site.down = false;
    await context.close();
  }
});

test("the same page from the program, for this machine alone", { timeout: 120_000 }, async () => {
  const program = spawn(binary, ["serve", "--port", "0", "--site", dist], { stdio: ["ignore", "pipe", "inherit"] });
  try {
    const line = await new Promise((done) => program.stdout.once("data", (data) => done(String(data))));
    const url = line.match(/http:\/\/127\.0\.0\.1:\d+\//)[0];
    const { context, page, complaints } = await visit(browser, { url });
    await measure(page, STEEL, "stockinette");
    await page.waitForSelector(".figures", { timeout: 150_000 });
    assert.deepEqual(complaints, []);
    await context.close();
    const status = (method, path, host) => new Promise((done, fail) => {
      const asked = request(new URL(path, url), { method, agent: false, headers: host ? { host } : {} }, (response) => done(response.resume().statusCode));
      asked.on("error", fail).end();
    });
    assert.equal(await status("GET", "core_bg.wasm"), 200);
    assert.equal(await status("GET", "../Cargo.toml"), 404);
    assert.equal(await status("GET", "%2e%2e/Cargo.toml"), 404);
    assert.equal(await status("POST", ""), 405);
    assert.equal(await status("GET", "", "other.example"), 403);
  } finally {
    program.kill();
  }
});

onPage("by keyboard alone", desktop, async (page) => {
  await page.keyboard.press("Tab");
  assert.equal(await page.evaluate(() => document.activeElement.className), "skip");
  await measure(page, STEEL, "stockinette");
  await page.evaluate(() => document.querySelector(".skip").focus());
  // Every stop can be seen, has a name, and the walk comes round again.
  const stops = [];
  for (let step = 0; step < 80; step++) {
    await page.keyboard.press("Tab");
    const stop = await page.evaluate(() => {
      const of = document.activeElement;
      if (of === document.body) return null;
      const box = of.getBoundingClientRect();
      const name = of.getAttribute("aria-label") ?? of.labels?.[0]?.textContent ?? of.textContent;
      return { what: of.outerHTML.slice(0, 80), name: name.trim(), seen: box.width > 0 && box.height > 0 };
    });
    if (!stop) break;
    assert.ok(stop.seen && stop.name, stop.what);
    stops.push(stop.name);
  }
  for (const name of ["Cast on with this", "Keep this swatch", "Enlarge", "Save picture", "What is knitted?"]) assert.ok(stops.includes(name), name);
});

test("at most 1.5 MB are transferred on the first visit", (context) => {
  const files = readdirSync(dist).filter((name) => !name.startsWith("LICENSE")).map((name) => readFileSync(join(dist, name)));
  const bytes = (compress, options) => files.reduce((sum, file) => sum + compress(file, options).length, 0);
  // Level 9 of 11: what web servers reach with files they compress once.
  const brotli = bytes(brotliCompressSync, { params: { [constants.BROTLI_PARAM_QUALITY]: 9, [constants.BROTLI_PARAM_LGWIN]: 22 } });
  context.diagnostic(`${brotli} bytes with Brotli, ${bytes(gzipSync, { level: 9 })} with gzip`);
  assert.ok(brotli <= 1_500_000, `${brotli}`);
});

test("fast enough, and the page stays alive", { timeout: 180_000 }, async (context) => {
  const client = await browser.newContext(desktop);
  const page = await client.newPage();
  try {
    await folder(async (path) => {
      const photo = join(path, "large.jpg");
      await walewise("sample", photo, "--seed", "3", "--stitch", "stockinette", "--gauge", "22x30", "--size", "4000x3000");
      await page.goto(site.url);
      await page.waitForFunction(() => document.querySelector("#version").textContent !== "");
      await page.evaluate(() => {
        globalThis.long = [];
        new PerformanceObserver((list) => list.getEntries().forEach((e) => globalThis.long.push([e.startTime, e.duration].map(Math.round)))).observe({ type: "longtask" });
        const answer = new MutationObserver(() => document.querySelector("#measure .figures") && (globalThis.answered ??= performance.now()));
        answer.observe(document.querySelector("#measure"), { childList: true, subtree: true });
      });
      await page.selectOption("#measure #pattern", "stockinette");
      const start = performance.now();
      await measure(page, photo);
      const inPage = performance.now() - start;
      const record = await shownRecord(page);
      const began = performance.now();
      const theirs = await native(photo, ["--stitch", "stockinette"]);
      const inCommand = performance.now() - began;
      const { long, answeredAt } = await page.evaluate(() => ({ long: globalThis.long, answeredAt: globalThis.answered }));
      context.diagnostic(`12 megapixels: page ${Math.round(inPage)} ms (core ${Math.round(record.elapsed_ms.total)}), command ${Math.round(inCommand)} ms (core ${Math.round(theirs.elapsed_ms.total)}); tasks over 50 ms: ${long.map((task) => task[1]).join(", ") || "none"}`);
      assert.ok(inPage <= 3 * inCommand, `${inPage} ms in the page, ${inCommand} ms by the command`);
      // While measuring: what ends before the answer is there.
      assert.deepEqual(long.filter(([start, duration]) => start + duration < answeredAt), []);
    });
  } finally {
    await client.close();
  }
});
