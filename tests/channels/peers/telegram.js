// A Bot API server: npm telegram-test-api behind a thin front.
//
//   node telegram.js PORT          prints "ready" once it listens
//
// The front is ours. It adds what the published Bot API has and the package lacks: is_bot in
// getMe, seconds in dates, `from`, results of edits, chat_instance, the webhook's secret header,
// getUpdates that honours `offset` and `timeout`, and faults on demand:
//   POST /_fault  {method, chat?, times, error_code, description, parameters} or {method, drop: 1}
//   POST /_update {token, update}   hands in a raw update (my_chat_member and the like)
//   POST /_hooked {token}           webhook answers seen so far
const axios = require('axios');
const express = require('express');
const TelegramServer = require('telegram-test-api');

const port = Number(process.argv[2]);
const server = new TelegramServer({ port, host: '127.0.0.1', storeTimeout: 600 });
const faults = [];
const open = {};       // token -> updates given out and not yet confirmed by an offset
const secrets = {};    // webhook url -> secret token
const hooked = [];     // [status] of each webhook call
const bot = { id: 7, is_bot: true, first_name: 'Coach', username: 'coach_test_bot' };

process.on('unhandledRejection', (error) => hooked.push(String(error.message)));

const plain = TelegramServer.formatUpdate;
TelegramServer.formatUpdate = (update) => {
  const formatted = plain(update);
  if (formatted.callback_query) formatted.callback_query.chat_instance = 'one';
  return formatted;
};

axios.interceptors.request.use((request) => {
  const secret = secrets[request.url];
  if (secret) request.headers['X-Telegram-Bot-Api-Secret-Token'] = secret;
  return request;
});
axios.interceptors.response.use(
  (response) => { hooked.push(response.status); return response; },
  (error) => { hooked.push(error.response ? error.response.status : error.code); throw error; },
);

function faultFor(method, body) {
  const at = faults.findIndex((fault) => fault.method === method
    && (fault.chat === undefined || String(fault.chat) === String(body.chat_id)));
  if (at < 0) return null;
  const fault = faults[at];
  fault.times = (fault.times || 1) - 1;
  if (fault.times <= 0) faults.splice(at, 1);
  return fault;
}

function patched(method, body, answer) {
  if (method === 'getMe') return { ok: true, result: bot };
  if (!answer.ok) return answer;
  const { result } = answer;
  if (method === 'sendMessage') {
    const date = Math.floor(result.date / 1000);
    return { ok: true, result: { ...result, date, from: bot } };
  }
  if (method.startsWith('editMessage')) {
    const chat = { id: Number(body.chat_id), first_name: 'Patient', type: 'private' };
    const date = Math.floor(Date.now() / 1000);
    return {
      ok: true,
      result: { message_id: Number(body.message_id), date, chat, from: bot, text: body.text },
    };
  }
  return result === null || result === undefined ? { ok: true, result: true } : answer;
}

async function updates(request, response) {
  const { token } = request.params;
  const offset = Number(request.body.offset || 0);
  const until = Date.now() + Math.min(Number(request.body.timeout || 0), 5) * 1000;
  open[token] = (open[token] || []).filter((update) => update.update_id >= offset);
  for (;;) {
    open[token].push(...server.getUpdates(token));
    if (open[token].length || Date.now() >= until || request.destroyed) break;
    await new Promise((resolve) => { setTimeout(resolve, 20); });
  }
  response.json({ ok: true, result: open[token] });
}

const front = express();
front.use(express.json());
front.use(express.urlencoded({ extended: true }));
front.post('/_fault', (request, response) => { faults.push(request.body); response.json({}); });
front.post('/_hooked', (_request, response) => response.json(hooked));
front.post('/_update', (request, response) => {
  const { token, update } = request.body;
  (open[token] = open[token] || []).push({ update_id: 100000 + open[token].length, ...update });
  response.json({});
});
front.use('/bot:token/:method', (request, response, next) => {
  const { method } = request.params;
  const fault = faultFor(method, request.body);
  if (fault && fault.drop) { request.socket.destroy(); return; }
  if (fault) {
    const { error_code: code, description, parameters } = fault;
    response.status(code).json({ ok: false, error_code: code, description, parameters });
    return;
  }
  if (method === 'setWebhook') secrets[request.body.url] = request.body.secret_token;
  const json = response.json.bind(response);
  response.json = (answer) => json(patched(method, request.body, answer));
  next();
});
front.use('/bot:token/getUpdates', updates);
front.use(server.webServer);
server.webServer = front;
front.settings.env = 'test';
server.start().then(() => process.stdout.write('ready\n'));
