// Run in a page: returns its faults in words. arguments[0] says whether it is a phone.
const phone = arguments[0];
const faults = [];
const tell = (element) => element.outerHTML.slice(0, 140);
const shown = (element) => element.getClientRects().length > 0 && getComputedStyle(element).visibility !== 'hidden';
if (document.documentElement.scrollWidth > document.documentElement.clientWidth) {
  const wide = [...document.querySelectorAll('body *')].filter((e) => e.getBoundingClientRect().right > document.documentElement.clientWidth + 1 && !e.closest('.scroll-x'));
  faults.push(`scrolls sideways: ${document.documentElement.scrollWidth} > ${document.documentElement.clientWidth}; ${wide.slice(0, 3).map(tell).join(' | ')}`);
}
if (!document.documentElement.lang) faults.push('no language');
if (!document.title) faults.push('no title');
if (document.querySelectorAll('main').length !== 1) faults.push('not one main');
if (document.querySelectorAll('h1').length !== 1) faults.push('not one h1');
const ids = new Set();
for (const element of document.querySelectorAll('[id]')) {
  if (ids.has(element.id)) faults.push(`id twice: ${element.id}`);
  ids.add(element.id);
}
for (const attribute of ['for', 'aria-describedby', 'aria-labelledby', 'aria-controls', 'list', 'form']) {
  for (const element of document.querySelectorAll(`[${attribute}]`)) {
    for (const id of element.getAttribute(attribute).split(/\s+/)) {
      if (!ids.has(id)) faults.push(`${attribute} leads nowhere: ${tell(element)}`);
    }
  }
}
for (const link of document.querySelectorAll('a[href^="#"]')) {
  if (!ids.has(decodeURIComponent(link.getAttribute('href').slice(1)))) faults.push(`leads nowhere: ${tell(link)}`);
}
const words = (element) => (element.getAttribute('aria-label') || element.innerText || element.textContent || element.title || '').trim();
for (const field of document.querySelectorAll('input:not([type=hidden]), select, textarea')) {
  const named = field.getAttribute('aria-label') || field.getAttribute('aria-labelledby') || [...field.labels].some((label) => words(label));
  if (!named) faults.push(`no name: ${tell(field)}`);
}
for (const control of document.querySelectorAll('a[href], button, summary')) {
  if (shown(control) && !words(control)) faults.push(`no name: ${tell(control)}`);
}
for (const svg of document.querySelectorAll('svg:not([aria-hidden=true])')) {
  if (!svg.querySelector('title')) faults.push(`picture without a title: ${tell(svg)}`);
}
for (const image of document.querySelectorAll('img:not([alt])')) faults.push(`picture without words: ${tell(image)}`);
for (const table of document.querySelectorAll('table')) {
  if (!table.querySelector('th[scope]')) faults.push(`table without headings: ${tell(table)}`);
}
if (document.querySelector('[style], style')) faults.push('inline style');
if (phone) {
  const targets = document.querySelectorAll('.button, button, input:not([type=hidden], [type=checkbox], [type=radio]), select, textarea, summary, nav a, .pick');
  for (const target of targets) {
    const height = target.getBoundingClientRect().height;
    if (shown(target) && height < 43.5) faults.push(`too small to touch (${height}px): ${tell(target)}`);
  }
}
// Contrast of text on its ground, WCAG 2.1, success criterion 1.4.3; text in pictures is left to the eye.
const channels = (colour) => colour.match(/[\d.]+/g).map(Number);
const luminance = ([r, g, b]) => {
  const [x, y, z] = [r, g, b].map((c) => (c / 255 <= 0.04045 ? c / 255 / 12.92 : ((c / 255 + 0.055) / 1.055) ** 2.4));
  return 0.2126 * x + 0.7152 * y + 0.0722 * z;
};
const ground = (element) => {
  for (let e = element; e; e = e.parentElement) {
    const colour = channels(getComputedStyle(e).backgroundColor);
    if (colour[3] === undefined || colour[3] === 1) return colour;
  }
  return [255, 255, 255];
};
for (const element of document.querySelectorAll('body *:not(svg, svg *, script, option, :disabled)')) {
  if (!shown(element) || ![...element.childNodes].some((node) => node.nodeType === Node.TEXT_NODE && node.data.trim())) continue;
  const style = getComputedStyle(element);
  const [light, dark] = [luminance(channels(style.color)), luminance(ground(element))].sort((a, b) => b - a);
  const ratio = (light + 0.05) / (dark + 0.05);
  const size = parseFloat(style.fontSize);
  const large = size >= 24 || (size >= 18.66 && Number(style.fontWeight) >= 700);
  if (ratio < (large ? 3 : 4.5)) faults.push(`contrast ${ratio.toFixed(2)}: ${tell(element)}`);
}
return faults;
