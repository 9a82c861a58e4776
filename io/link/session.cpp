#include "io/link/session.hpp"

#include <algorithm>
#include <cmath>
#include <stdexcept>

#include "io/link/frames/crc32.h"

namespace stillrotor::io {
namespace {

constexpr std::int64_t ms = 1'000'000;
constexpr std::int64_t between_hellos = 50 * ms, between_beats = 2 * ms, between_orders = 20 * ms;
constexpr std::int64_t between_parameters = 20 * ms, beat_is_lost = 50 * ms;
constexpr std::int64_t longest_unanswered = 200 * ms;
constexpr std::int64_t between_heats = 100 * ms, between_tells = 50 * ms;
// Edges wait a millisecond on the chip for others, and then for room.
constexpr std::int64_t edges_wait = 5 * ms;
constexpr double two_pi = 6.28318530717958647692;

constexpr std::int32_t later(std::uint32_t a, std::uint32_t b) noexcept {
  return static_cast<std::int32_t>(a - b);
}
constexpr LineId gate(unsigned k) noexcept { return LineId(static_cast<std::uint16_t>(k)); }
static_assert(index(line::gate_UH) == 0 && index(line::gate_WL) == 5, "the chip's bits, in order");

/// What must not move inside a window that is judged.
bool suffered(const cp_report& a, const cp_report& b) noexcept {
  return (b.flags & CP_PLANT_OVER_RANGE) != 0 || a.lost_edges != b.lost_edges ||
         a.late_edges != b.late_edges || a.unsent_edges != b.unsent_edges ||
         a.unsent_reports != b.unsent_reports || a.refused_commands != b.refused_commands ||
         a.gaps != b.gaps || a.late_pieces != b.late_pieces || a.too_fast_steps != b.too_fast_steps;
}

}  // namespace

LinkSession::LinkSession(const LinkSettings& settings, CapturedEdges& edges)
    : settings_(settings), edges_(edges), clock_(1.0 / settings.plant.scale.tick_s) {
  lf_walk w = lf_writing(block_.data(), LF_PARAMETER_BYTES);
  lf_walk_parameters(&w, &settings_.parameters);
  block_crc_ = lf_crc32(block_.data(), LF_PARAMETER_BYTES);
}

void LinkSession::connected(std::uint16_t session, std::int64_t now_ns) {
  connected_ = true;
  linked_ = false;
  session_ = session;
  sequence_ = 0;
  beat_out_ = false;
  hello_ns_ = beat_ns_ = parameters_ns_ = order_ns_ = lines_ns_ = never;
  codes_ns_.fill(never);
  parser_.count = 0;
  if (known_ns_ == 0) known_ns_ = blind_ns_ = now_ns;
}

void LinkSession::disconnected() {
  connected_ = linked_ = false;
  wants_live_ = false;
  orders_done_ = live_orders_.load(std::memory_order_relaxed);
  cut();
  break_off();
}

void LinkSession::cut() { lf_cut(&parser_); }

// ---- in ----

void LinkSession::take(std::span<const std::uint8_t> bytes, std::int64_t now_ns) {
  for (const std::uint8_t byte : bytes)
    if (lf_byte_in(&parser_, byte, &in_) != 0) take_frame(in_, now_ns);
}

void LinkSession::take_frame(const lf_frame& f, std::int64_t now_ns) {
  if (f.version != LF_VERSION) {
    ++status_.spoilt_frames;
    unfit_ = true;
    return;
  }
  if (!next_in_order(f, now_ns)) return;
  heard_ns_ = now_ns;
  ++status_.frames;
  const lf_walk w = lf_reading(f.payload, f.length);
  bool good = false;
  switch (f.kind) {
    case LF_HELLO:
      good = take_hello(w);
      break;
    case LF_HEARTBEAT:
      good = take_beat(w, f, now_ns);
      break;
    case LF_REPORT:
      good = take_report(w, now_ns);
      break;
    case LF_EDGES:
      good = take_edges(w, now_ns);
      break;
    case LF_REFUSAL:
      good = take_refusal(w);
      break;
    default:
      break;
  }
  if (!good) ++status_.spoilt_frames;
}

bool LinkSession::next_in_order(const lf_frame& f, std::int64_t now_ns) {
  if (f.session != chip_session_) {
    if (f.kind != LF_HELLO) {
      ++status_.dropped_frames;
      return false;
    }
    if (chip_session_ != ~0U) chip_was_reset();
    chip_session_ = f.session;
    chip_sequence_ = f.sequence;
    heard_ns_ = now_ns;
    return true;
  }
  const std::int32_t steps = later(f.sequence, chip_sequence_);
  if (steps <= 0) {
    ++status_.dropped_frames;
    return false;
  }
  status_.missed_frames += static_cast<std::uint32_t>(steps) - 1U;
  chip_sequence_ = f.sequence;
  return true;
}

void LinkSession::chip_was_reset() {
  ++status_.resets;
  break_off();
  clock_.restart(1.0 / settings_.plant.scale.tick_s);
  in_force_ = edges_known_ = report_known_ = false;
  beat_out_ = false;
  if (live_) ++status_.falls;
  live_ = wants_live_ = linked_ = false;
}

bool LinkSession::take_hello(lf_walk w) {
  lf_hello h{};
  lf_walk_hello(&w, &h);
  if (lf_whole(&w) == 0 || h.role != LF_CHIP) {
    unfit_ = true;
    return false;
  }
  const double ticks = h.tick_Hz * settings_.plant.scale.tick_s;
  unfit_ = h.lowest_version > LF_VERSION || h.highest_version < LF_VERSION ||
           h.parameter_bytes != LF_PARAMETER_BYTES || std::fabs(ticks - 1.0) > 1e-6 ||
           h.channels < settings_.parameters.channels;
  status_.chip = h;
  return true;
}

bool LinkSession::take_beat(lf_walk w, const lf_frame& f, std::int64_t now_ns) {
  lf_beat b{};
  lf_walk_beat(&w, &b);
  if (lf_whole(&w) == 0) return false;
  if (beat_out_ && b.sequence == beat_sequence_) {
    clock_.add({beat_ns_, now_ns, b.heard, f.clock});
    beat_out_ = false;
    linked_ = true;  // it obeys our session: a hello alone may have left before ours came
    answered_ns_ = now_ns;
  }
  in_force_ = b.parameters == block_crc_;
  if (!running()) return true;
  const std::int64_t at_ns = clock_.ns(f.clock, now_ns);
  if (edges_known_ && b.edges != next_edge_)
    gap(known_ns_, at_ns, b.edges - next_edge_);
  else
    known_ns_ = std::max(known_ns_, at_ns - edges_wait);
  next_edge_ = b.edges;
  edges_known_ = true;
  return true;
}

bool LinkSession::take_report(lf_walk w, std::int64_t now_ns) {
  cp_report r{};
  lf_walk_report(&w, &r);
  if (lf_whole(&w) == 0) return false;
  if (!running()) return true;
  ++status_.reports;
  const std::int64_t at_ns = clock_.ns(r.at, now_ns);
  mend(now_ns);
  if (report_known_) {
    const std::uint32_t due = report_.at + r.steps * settings_.parameters.step_ticks;
    if (r.at != due || suffered(report_, r)) gap(report_ns_, at_ns, 0);
  }
  note_safety(r.safe, at_ns);
  report_ = r;
  report_ns_ = at_ns;
  report_known_ = true;
  hand_over(r, at_ns, now_ns);
  return true;
}

void LinkSession::hand_over(const cp_report& r, std::int64_t at_ns, std::int64_t now_ns) {
  const coprocessor::Scale& s = settings_.plant.scale;
  const double steps = std::max(r.steps, 1U);
  LinkReport out;
  out.at_ns = at_ns;
  out.lasts_s = r.steps * s.step_s();
  for (int k = 0; k < 2; ++k) {
    out.mean_A[k] = r.sum_i[k] / steps * s.ampere;
    out.end_A[k] = r.i[k] * s.ampere;
  }
  out.mean_capacitor_V = r.sum_cap / steps * s.volt;
  out.bus_V = r.bus * s.volt;
  out.theta_m_rad = r.theta * 0x1p-32 * two_pi;
  out.theta_at_ns = clock_.ns(r.theta_at, now_ns);
  out.flags = r.flags;
  out.safe = r.safe;
  out.tripped = r.tripped;
  if (!reports_.push(out)) {
    ++status_.lost_reports;
    gap(at_ns - std::llround(out.lasts_s * 1e9), at_ns, 0);
  }
}

void LinkSession::note_safety(std::uint32_t safe, std::int64_t at_ns) {
  const bool as_told = safe == CP_SAFE_TOLD && safe_sent_;
  if (safe != 0 && live_) wants_live_ = false;
  if (safe != 0 && live_ && !as_told) {
    ++status_.falls;
    gap(report_ns_, at_ns, 0);
  }
  live_ = safe == 0;
}

bool LinkSession::take_edges(lf_walk w, std::int64_t now_ns) {
  lf_edges head{};
  lf_walk_edges(&w, &head);
  const std::uint32_t bytes = w.size - w.at;
  if (w.over != 0 || bytes == 0 || bytes % LF_EDGE_BYTES != 0 || head.gates_before > 63)
    return false;
  const std::uint32_t count = bytes / LF_EDGE_BYTES;
  if (!running()) {
    // Levels only; when they moved, nobody can say yet.
    w.at = w.size - 1;
    std::uint8_t gates = 0;
    lf_u8(&w, &gates);
    gates_are(gates & 63U, now_ns);
    next_edge_ = head.number + count;
    edges_known_ = true;
    return true;
  }
  mend(now_ns);
  std::int64_t at_ns = clock_.ns(head.at, now_ns);
  if (edges_known_ && head.number != next_edge_) gap(known_ns_, at_ns, head.number - next_edge_);
  gates_are(head.gates_before, at_ns);
  std::uint32_t at = head.at;
  for (std::uint32_t k = 0; k < count; ++k) {
    lf_edge e{};
    lf_walk_edge(&w, &e);
    at += e.after;
    at_ns = clock_.ns(at, now_ns);
    gates_are(e.gates & 63U, at_ns);
  }
  status_.edges += count;
  next_edge_ = head.number + count;
  edges_known_ = true;
  known_ns_ = at_ns;
  return true;
}

void LinkSession::gates_are(std::uint32_t gates, std::int64_t at_ns) {
  const std::uint32_t changed = gates ^ gates_;
  // Off before on: a leg that turns over in one stamp is not shorted.
  for (unsigned pass = 0; pass < 2 && changed != 0; ++pass)
    for (unsigned k = 0; k < gate_count; ++k)
      if ((changed >> k & 1U) != 0 && (gates >> k & 1U) == pass)
        edges_.edge(at_ns, gate(k), pass != 0);
  gates_ = gates;
}

bool LinkSession::take_refusal(lf_walk w) {
  lf_refusal r{};
  lf_walk_refusal(&w, &r);
  if (lf_whole(&w) == 0) return false;
  ++status_.refusals;
  status_.last_refusal = r.reason;
  unfit_ = unfit_ || r.reason == LF_BAD_VERSION || r.reason == LF_BAD_PARAMETERS;
  return true;
}

void LinkSession::gap(std::int64_t from_ns, std::int64_t to_ns, std::uint32_t lost) {
  to_ns = std::max(from_ns, to_ns);
  status_.lost_edges += lost;
  // Of which gate is not known: all of them are in doubt, the count stands with the first.
  for (unsigned k = 0; k < gate_count; ++k)
    edges_.gap({from_ns, to_ns, 0, k == 0 ? lost : 0}, gate(k));
}

void LinkSession::break_off() {
  if (blind_) return;
  blind_ = true;
  blind_ns_ = std::min(known_ns_, heard_ns_);
  report_known_ = false;
}

void LinkSession::mend(std::int64_t now_ns) {
  if (!blind_) return;
  blind_ = false;
  gap(blind_ns_, now_ns, 0);
}

// ---- out ----

lf_walk LinkSession::begin(lf_kind kind) {
  out_.version = LF_VERSION;
  out_.kind = static_cast<std::uint8_t>(kind);
  out_.session = session_;
  out_.sequence = ++sequence_;
  return lf_writing(out_.payload, LF_PAYLOAD_MAX);
}

void LinkSession::send(const lf_walk& w, std::int64_t now_ns, Wire& wire) {
  out_.length = w.at;
  out_.clock = static_cast<std::uint32_t>(now_ns);
  std::array<std::uint8_t, LF_WIRE_MAX> bytes;
  wire.send({bytes.data(), lf_encode(&out_, bytes.data())});
}

void LinkSession::send_command(cp_command c, std::int64_t now_ns, Wire& wire) {
  lf_walk w = begin(LF_COMMAND);
  lf_walk_command(&w, &c);
  send(w, now_ns, wire);
}

void LinkSession::send_parameters(std::int64_t now_ns, Wire& wire) {
  parameters_ns_ = now_ns;
  for (std::uint32_t at = 0; at < LF_PARAMETER_BYTES; at += LF_PART) {
    lf_walk w = begin(LF_PARAMETERS);
    lf_part part{block_crc_, LF_PARAMETER_BYTES, static_cast<std::uint16_t>(at)};
    lf_walk_part(&w, &part);
    const std::uint32_t count = std::min<std::uint32_t>(LF_PART, LF_PARAMETER_BYTES - at);
    for (std::uint32_t k = 0; k < count; ++k) lf_u8(&w, &block_[at + k]);
    send(w, now_ns, wire);
  }
}

/// The first boundary of the chip's steps at or after that time.
std::uint32_t LinkSession::on_grid(std::int64_t at_ns) const {
  const std::uint32_t tick = clock_.tick(at_ns), step = settings_.parameters.step_ticks;
  const auto past = static_cast<std::int32_t>(tick - report_.at) % static_cast<std::int32_t>(step);
  const std::uint32_t over =
      static_cast<std::uint32_t>(past < 0 ? past + static_cast<std::int32_t>(step) : past);
  return over == 0 ? tick : tick + step - over;
}

void LinkSession::send_ahead(std::int64_t now_ns, Wire& wire) {
  const Ahead& a = ahead_.value();
  const std::uint32_t at = on_grid(a.at_ns);
  const double wait_s = 1e-9 * static_cast<double>(clock_.ns(at, a.at_ns) - a.at_ns);
  coprocessor::Motion there = a.motion;
  there.theta_m_rad += (a.motion.omega_m_rad_s + 0.5 * a.motion.alpha_rad_s2 * wait_s) * wait_s;
  there.omega_m_rad_s += a.motion.alpha_rad_s2 * wait_s;
  cp_command piece{};
  piece.kind = CP_PIECE;
  piece.at = at;
  try {
    piece.u.piece = coprocessor::piece(settings_.plant.scale, there, at);
    const cp_command supply = coprocessor::supply(settings_.plant.scale, a.source_V, at);
    send_command(piece, now_ns, wire);
    send_command(supply, now_ns, wire);
    if (a.resistance_ohm > 0.0 && now_ns - heat_ns_ >= between_heats) {
      send_command(coprocessor::heat(settings_.plant, a.resistance_ohm, a.flux_ratio, at), now_ns,
                   wire);
      heat_ns_ = now_ns;
    }
  } catch (const std::invalid_argument&) {
    // What the chip cannot show must not be shown as something else.
    make_safe();
    unfit_ = true;
  }
  if (a.clear_trip && report_.tripped != 0) {
    cp_command clear{};
    clear.kind = CP_CLEAR_TRIP;
    clear.at = clock_.tick(now_ns);
    send_command(clear, now_ns, wire);
  }
}

/// One line of command and one channel a turn: what has changed, else what was sent longest ago,
/// for it may have been lost.
void LinkSession::send_told(std::int64_t now_ns, Wire& wire) {
  told_.look();
  const ToldOutputs& told = told_.value();
  cp_command c{};
  c.at = clock_.tick(now_ns);
  if (told.lines != sent_.lines || now_ns - lines_ns_ >= between_tells) {
    c.kind = CP_SWITCH;
    c.u.levels = sent_.lines = told.lines;
    lines_ns_ = now_ns;
    send_command(c, now_ns, wire);
  }
  c.kind = CP_TELL;
  for (unsigned n = 0; n < CP_CHANNELS; ++n) {
    const unsigned k = (next_told_ + n) % CP_CHANNELS;
    if ((told.channels >> k & 1U) == 0) continue;
    if (told.codes[k] == sent_.codes[k] && now_ns - codes_ns_[k] < between_tells) continue;
    c.u.tell.channel = k;
    c.u.tell.code = sent_.codes[k] = told.codes[k];
    codes_ns_[k] = now_ns;
    next_told_ = k + 1;
    return send_command(c, now_ns, wire);
  }
}

void LinkSession::due(std::int64_t now_ns, Wire& wire) {
  const std::int64_t unanswered = std::max(settings_.silent_ns, longest_unanswered);
  if (linked_ && (now_ns - heard_ns_ > settings_.silent_ns || now_ns - answered_ns_ > unanswered)) {
    linked_ = false;
    wants_live_ = false;  // an order does not outlive the link that it was given for
    ++status_.silences;
    break_off();
  }
  // Orders first: one that is seen here has ended the rest that is looked at behind it.
  const std::uint32_t orders = live_orders_.load(std::memory_order_acquire);
  const bool for_good = safe_.load(std::memory_order_relaxed);
  const bool safe = for_good || rest_.load(std::memory_order_relaxed);
  if (orders != orders_done_) wants_live_ = linked_ && running();
  if (safe) wants_live_ = false;
  orders_done_ = orders;
  if (connected_) {
    if (!linked_ && now_ns - hello_ns_ >= between_hellos) {
      hello_ns_ = now_ns;
      lf_walk w = begin(LF_HELLO);
      lf_hello h{LF_VERSION, LF_VERSION, LF_LINUX, 0, 0, 0, 0, 0, 0};
      lf_walk_hello(&w, &h);
      send(w, now_ns, wire);
    }
    if (now_ns - beat_ns_ >= (beat_out_ ? beat_is_lost : between_beats)) {
      lf_walk w = begin(LF_HEARTBEAT);
      beat_ns_ = now_ns;
      beat_sequence_ = out_.sequence;
      beat_out_ = true;
      send(w, now_ns, wire);
    }
    if (linked_ && !unfit_ && !in_force_ && !settings_.asks_only &&
        now_ns - parameters_ns_ >= between_parameters)
      send_parameters(now_ns, wire);
    const bool fresh = ahead_.look();
    if (running() && report_known_ && fresh && !for_good) {
      send_ahead(now_ns, wire);
      send_told(now_ns, wire);
    }
    const bool unsafe = live_ || !report_known_ || !safe_sent_;
    const bool wanted = safe ? unsafe : running() && report_known_ && wants_live_ && !live_;
    const bool at_once = safe && !safe_sent_;
    if (linked_ && wanted && (at_once || now_ns - order_ns_ >= between_orders)) {
      order_ns_ = now_ns;
      safe_sent_ = safe;
      cp_command order{};
      order.kind = safe ? CP_MAKE_SAFE : CP_ARM;
      order.at = clock_.tick(now_ns);
      send_command(order, now_ns, wire);
    }
  }
  if (linked_ && running()) edges_.alive(now_ns);
  status_.linked = linked_;
  status_.running = linked_ && running() && report_known_;
  status_.live = live_ && linked_;
  status_.unfit = unfit_;
  status_.spoilt_frames += parser_.bad_length + parser_.bad_stuffing + parser_.bad_crc;
  parser_.bad_length = parser_.bad_stuffing = parser_.bad_crc = 0;
  status_.drift = clock_.drift();
  status_.least_round_trip_ns = clock_.least_round_trip_ns();
  shown_.put(status_);
}

}  // namespace stillrotor::io
