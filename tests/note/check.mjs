// Opens notes in headless Chromium and says what is wrong with them: usage
//   node check.mjs PREFIX OUT FILE…
// PREFIX holds node_modules with playwright-core, axe-core and html-validate; OUT gets screenshots and PDFs.
// Prints one JSON object: { "<file>": ["problem", …], … }. Exit status 0 whatever it finds; 2 when it could not look.
import { createRequire } from "node:module";
import fs from "node:fs";
import path from "node:path";
import { pathToFileURL } from "node:url";

const [prefix, out, ...files] = process.argv.slice(2);
const require = createRequire(path.resolve(prefix, "package.json"));
const { chromium } = require("playwright-core");
const { HtmlValidate, FileSystemConfigLoader } = require("html-validate");
const axeSource = fs.readFileSync(require.resolve("axe-core/axe.min.js"), "utf8");

const FLAGS = [
  "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
  "--disable-component-update", "--disable-sync",
];
const SCREENS = [
  { name: "phone", width: 360, height: 740 },
  { name: "tablet", width: 800, height: 1100 },
  { name: "desk", width: 1600, height: 1000 },
];
// A4 less the margins of the style sheet (15 mm left and right), at 96 dots an inch.
const PAPER = { width: Math.floor(((210 - 30) / 25.4) * 96), height: Math.floor(((297 - 32) / 25.4) * 96) };

// Style rules of the validator that are about taste, not validity, are off.
const validator = new HtmlValidate(new FileSystemConfigLoader({
  extends: ["html-validate:standard"],
  rules: { "no-inline-style": "off", "no-trailing-whitespace": "off", "long-title": "off" },
}));

/** What sticks out of the page to the right; on paper tables may not be cut off either. */
function overflow(paper) {
  const found = [];
  const root = document.documentElement;
  if (root.scrollWidth > root.clientWidth) found.push(`page is ${root.scrollWidth} wide on ${root.clientWidth}`);
  for (const e of document.querySelectorAll("body *")) {
    if (e.closest("svg") && e.tagName !== "svg") continue;
    if (!paper && e.closest(".scroll") && !e.classList.contains("scroll")) continue;
    const box = e.getBoundingClientRect();
    if (box.width > 0 && box.right > root.clientWidth + 1) found.push(`<${e.tagName.toLowerCase()} class="${e.getAttribute("class") ?? ""}"> sticks out to ${Math.round(box.right)}`);
  }
  return found.slice(0, 5);
}

/** Texts of drawings against the shape they stand on (axe does not look into drawings): WCAG 2.2 contrast below 4.5. */
function drawings() {
  const rgb = (css) => (css.match(/[\d.]+/g) ?? []).slice(0, 3).map(Number);
  const luminance = (c) => {
    const [r, g, b] = c.map((v) => v / 255).map((v) => (v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4));
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const contrast = (a, b) => {
    const [x, y] = [luminance(a), luminance(b)].sort((p, q) => q - p);
    return (x + 0.05) / (y + 0.05);
  };
  const found = [];
  for (const text of document.querySelectorAll("svg text")) {
    text.scrollIntoView({ block: "center", inline: "center" });
    const box = text.getBoundingClientRect();
    const below = document.elementsFromPoint(box.x + box.width / 2, box.y + box.height / 2);
    const shape = below.find((e) => ["rect", "circle"].includes(e.tagName) && getComputedStyle(e).fill !== "none");
    let ground = shape ? getComputedStyle(shape).fill : "rgb(255,255,255)";
    const pattern = ground.match(/url\("?#([^")]+)/);
    if (pattern) ground = getComputedStyle(document.querySelector(`#${pattern[1]} line`)).stroke;
    const ratio = contrast(rgb(getComputedStyle(text).fill), rgb(ground));
    if (ratio < 4.5) found.push(`drawing text "${text.textContent.trim()}" has contrast ${ratio.toFixed(2)}`);
    const svg = text.ownerSVGElement.getBoundingClientRect();
    if (box.right > svg.right + 1 || box.left < svg.left - 1) found.push(`drawing text "${text.textContent.trim()}" is cut off`);
  }
  window.scrollTo(0, 0);
  return found;
}

async function look(browser, file) {
  const problems = [];
  const stem = path.join(out, path.basename(file, ".html"));
  const report = await validator.validateFile(file);
  for (const r of report.results) for (const m of r.messages) problems.push(`html ${m.line}:${m.column} ${m.ruleId}: ${m.message}`);
  for (const screen of SCREENS) {
    const page = await browser.newPage({ viewport: { width: screen.width, height: screen.height } });
    page.on("console", (m) => { if (["error", "warning"].includes(m.type())) problems.push(`${screen.name} console: ${m.text()}`); });
    page.on("pageerror", (e) => problems.push(`${screen.name} script: ${e.message}`));
    page.on("request", (r) => { if (!r.url().startsWith("file:") && !r.url().startsWith("data:")) problems.push(`${screen.name} asks for ${r.url()}`); });
    await page.goto(pathToFileURL(path.resolve(file)).href);
    if (await page.evaluate(() => document.scripts.length)) problems.push(`${screen.name}: needs scripts`);
    problems.push(...(await page.evaluate(overflow, false)).map((p) => `${screen.name} overflow: ${p}`));
    problems.push(...(await page.evaluate(drawings)).map((p) => `${screen.name}: ${p}`));
    await page.screenshot({ path: `${stem}-${screen.name}.png`, fullPage: true });
    await page.screenshot({ path: `${stem}-${screen.name}-first.png` });
    await page.evaluate(axeSource);
    const axe = await page.evaluate(() => window.axe.run(document, { resultTypes: ["violations", "incomplete"] }));
    for (const v of axe.violations) problems.push(`${screen.name} axe ${v.id}: ${v.nodes.map((n) => n.target.join(" ")).slice(0, 3).join(", ")}`);
    // On the desk everything is in view; what axe cannot decide about contrast there counts as not shown, but for what
    // `drawings` looks at and single signs beside words.
    const open = axe.incomplete.filter((v) => v.id === "color-contrast").flatMap((v) => v.nodes);
    const sign = (n) => n.any.some((a) => ["shortTextContent", "nonBmp"].includes(a.data?.messageKey));
    const undecided = open.filter((n) => screen.name === "desk" && !n.html.startsWith("<text") && !sign(n));
    for (const n of undecided) problems.push(`${screen.name} axe undecided color-contrast: ${n.target.join(" ")}`);
    await page.close();
  }
  const page = await browser.newPage({ viewport: PAPER });
  await page.goto(pathToFileURL(path.resolve(file)).href);
  await page.emulateMedia({ media: "print" });
  problems.push(...(await page.evaluate(overflow, true)).map((p) => `paper overflow: ${p}`));
  await page.pdf({ path: `${stem}.pdf`, preferCSSPageSize: true });
  await page.close();
  return problems;
}

try {
  fs.mkdirSync(out, { recursive: true });
  const browser = await chromium.launch({ executablePath: "/usr/bin/chromium", headless: true, args: FLAGS });
  const found = {};
  for (const file of files) found[path.basename(file)] = await look(browser, file);
  await browser.close();
  console.log(JSON.stringify(found, null, 2));
} catch (e) {
  console.error(e);
  process.exit(2);
}
