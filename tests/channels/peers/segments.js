// Counts SMS parts with two libraries: JSON list of texts on stdin, JSON list of
// {calculator: [encoding, parts], split: [encoding, parts]} on stdout.
const { SegmentedMessage } = require('sms-segments-calculator');
const { split } = require('split-sms');

const texts = JSON.parse(require('fs').readFileSync(0, 'utf8'));
const counts = texts.map((text) => {
  const first = new SegmentedMessage(text, 'auto');
  const second = split(text);
  return {
    calculator: [first.getEncodingName(), first.segmentsCount],
    split: [second.characterSet, second.parts.length],
  };
});
process.stdout.write(JSON.stringify(counts));
