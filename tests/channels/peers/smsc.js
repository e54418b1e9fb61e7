// An SMSC: npm smpp as server.
//
//   node smsc.js PORT PASSWORD      prints {"event":"ready"} once it listens
//
// Commands, one JSON object a line on stdin:
//   {"plan": ["throttle", "silent", "drop", "drop_after", {"status": 11}, ...]}  for coming submits
//   {"receipt": "DELIVRD" | "UNDELIV" | null, "early": true, "err": "000"}       for coming submits
//   {"mo": {"from", "to", "text", "parts": ["..", ".."], "reference": 7, "bits": 8, "order": [1]}}
//   {"drop": true}                  cuts every session
// Events, one JSON object a line on stdout: ready, told, bind, refused, closed, link,
// submit, answered.
// As the standard asks of an SMSC, a deliver_sm that is refused for now, or not answered before
// the link is lost, is given again.
const smpp = require('smpp');

const port = Number(process.argv[2]);
const password = process.argv[3];
const plan = [];
let receipt = { word: 'DELIVRD', early: false, err: '000' };
let session = null;
let count = 100;
const waiting = [];   // deliver_sm not yet answered with success

const tell = (event) => process.stdout.write(`${JSON.stringify(event)}\n`);
const words = (body) => (typeof body === 'string' ? body : (body && body.message) || '');
const header = (body) => (body && body.udh ? Buffer.concat([].concat(body.udh)).toString('hex') : '');

function deliver(item) {
  if (!session) return;
  const on = session;
  on.deliver_sm({ ...item.pdu }, (answer) => {
    tell({ event: 'answered', status: answer.command_status, text: item.text });
    if (answer.command_status === 0) waiting.splice(waiting.indexOf(item), 1);
    else setTimeout(() => deliver(item), 100);
  });
}

function queue(pdu, text) {
  const item = { pdu, text };
  waiting.push(item);
  deliver(item);
}

function sendReceipt(submit, id) {
  const states = { DELIVRD: 2, UNDELIV: 5 };
  queue({
    source_addr: submit.destination_addr,
    destination_addr: submit.source_addr,
    esm_class: 4,
    receipted_message_id: id,
    message_state: states[receipt.word],
    short_message: `id:${id} sub:001 dlvrd:001 submit date:2611250900 done date:2611250901 `
      + `stat:${receipt.word} err:${receipt.err} text:`,
  }, 'receipt');
}

function submitted(on, pdu) {
  const step = plan.shift() || 'ok';
  const body = pdu.short_message || pdu.message_payload;
  const note = {
    event: 'submit',
    step,
    to: pdu.destination_addr,
    from: pdu.source_addr,
    coding: pdu.data_coding,
    esm_class: pdu.esm_class,
    udh: header(body),
    text: words(body),
  };
  if (step === 'drop') { tell({ ...note, taken: false }); on.socket.destroy(); return; }
  if (step === 'throttle') {
    tell({ ...note, taken: false });
    on.send(pdu.response({ command_status: smpp.ESME_RTHROTTLED }));
    return;
  }
  if (step.status) {
    tell({ ...note, taken: false });
    on.send(pdu.response({ command_status: step.status }));
    return;
  }
  count += 1;
  const id = String(count);
  tell({ ...note, taken: true, id });
  if (step === 'silent') return;
  if (step === 'drop_after') { on.socket.destroy(); return; }
  if (receipt.word && receipt.early) sendReceipt(pdu, id);
  on.send(pdu.response({ message_id: id }));
  if (receipt.word && !receipt.early) sendReceipt(pdu, id);
}

function mobile({ from, to, text, parts, reference = 7, bits = 8, order }) {
  if (!parts) { queue({ source_addr: from, destination_addr: to, short_message: text }, text); return; }
  const numbers = order || parts.map((_part, at) => at + 1);
  numbers.forEach((number) => {
    const udh = bits === 16
      ? Buffer.from([6, 8, 4, reference >> 8, reference & 255, parts.length, number])
      : Buffer.from([5, 0, 3, reference, parts.length, number]);
    const message = parts[number - 1];
    queue({
      source_addr: from, destination_addr: to, esm_class: 0x40, short_message: { udh, message },
    }, message);
  });
}

function command(line) {
  const order = JSON.parse(line);
  if (order.plan) plan.push(...order.plan);
  if ('receipt' in order) {
    receipt = { word: order.receipt, early: Boolean(order.early), err: order.err || '000' };
  }
  if (order.mo) mobile(order.mo);
  if (order.drop && session) session.socket.destroy();
  tell({ event: 'told' });
}

smpp.createServer({}, (on) => {
  const bind = (pdu) => {
    if (pdu.password !== password) {
      tell({ event: 'refused' });
      on.send(pdu.response({ command_status: smpp.ESME_RINVPASWD }));
      return;
    }
    on.send(pdu.response({ system_id: 'SMSC' }));
    if (pdu.command === 'bind_transceiver') session = on;
    tell({ event: 'bind', as: pdu.command });
    waiting.slice().forEach(deliver);
  };
  on.on('bind_transceiver', bind);
  on.on('bind_transmitter', bind);
  on.on('enquire_link', (pdu) => { tell({ event: 'link' }); on.send(pdu.response()); });
  on.on('unbind', (pdu) => { on.send(pdu.response()); on.close(); });
  on.on('submit_sm', (pdu) => submitted(on, pdu));
  on.on('error', () => {});
  on.on('close', () => {
    if (session === on) session = null;
    tell({ event: 'closed' });
  });
}).listen(port, '127.0.0.1', () => tell({ event: 'ready' }));

let rest = '';
process.stdin.on('data', (chunk) => {
  rest += chunk;
  const lines = rest.split('\n');
  rest = lines.pop();
  lines.filter(Boolean).forEach(command);
});
process.stdin.on('end', () => process.exit(0));
