// Names at the ends of curves: near ones are pushed apart, and their order does not dance.

/** Sort labels from top to bottom, but let neighbours change places only when clearly apart: near ones would dance. */
export function settled(labels, before = [], clearly) {
  const place = (entry) => before.indexOf(entry.label);
  labels.sort((a, b) => (place(a) < 0 || place(b) < 0 ? a.y - b.y : place(a) - place(b)));
  for (let round = 0; round < labels.length; round++)
    for (let i = 1; i < labels.length; i++)
      if (labels[i - 1].y - labels[i].y > clearly) [labels[i - 1], labels[i]] = [labels[i], labels[i - 1]];
  return labels.map((entry) => entry.label);
}

/** Push sorted labels apart so that none covers another. */
export function spread(labels, apart, top, bottom) {
  for (let i = 0; i < labels.length; i++) labels[i].y = Math.max(labels[i].y, i === 0 ? top : labels[i - 1].y + apart);
  for (let i = labels.length - 1; i >= 0; i--)
    labels[i].y = Math.min(labels[i].y, i === labels.length - 1 ? bottom : labels[i + 1].y - apart);
}
