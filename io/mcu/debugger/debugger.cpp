#include "io/mcu/debugger/debugger.hpp"

#include <fmt/core.h>

#include <array>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/write.hpp>
#include <chrono>
#include <stdexcept>

#include "io/mcu/debugger/packets.hpp"
#include "io/mcu/debugger/session.hpp"

namespace stillrotor::io::mcu {
namespace {

namespace asio = boost::asio;
using asio::ip::tcp;
using boost::system::error_code;
using namespace std::chrono_literals;

constexpr auto wait_slice = 50ms;  // so that a wish to end the run is heard
constexpr auto send_most = 5s;
constexpr unsigned repeats_most = 8;
// Stretches or instructions between two looks at the socket: some ten microseconds each.
constexpr unsigned calls_per_look = 512, calls_per_look_closely = 16384;

constexpr const char* stopped_by_trap = "T05thread:1;";
constexpr const char* stopped_by_interrupt = "T02thread:1;";
constexpr const char* stopped_by_end = "T0bthread:1;";
constexpr const char* run_is_over = "W00";

}  // namespace

/// The listening socket and the debugger that is connected to it, if one is.
class Debugger::Client {
 public:
  explicit Client(std::uint16_t port) : acceptor_(context_), socket_(context_) {
    const tcp::endpoint here(asio::ip::address_v4::loopback(), port);
    error_code error;
    acceptor_.open(here.protocol(), error);
    if (!error) acceptor_.set_option(tcp::acceptor::reuse_address(true), error);
    if (!error) acceptor_.bind(here, error);
    if (!error) acceptor_.listen(1, error);
    if (error)
      throw std::runtime_error(
          fmt::format("Nothing can listen for a debugger on 127.0.0.1:{}: {}. Choose another "
                      "--gdb port, or 0 for any that is free.",
                      port, error.message()));
    accept();
  }

  std::uint16_t port() const noexcept {
    error_code ignored;
    return acceptor_.local_endpoint(ignored).port();
  }
  bool is_there() const noexcept { return there_; }
  unsigned arrivals() const noexcept { return arrivals_; }

  void look() {
    context_.restart();
    context_.poll();
  }
  void wait() {
    context_.restart();
    context_.run_one_for(wait_slice);
  }
  /// Sends and waits until it is gone, or the debugger is.
  void send(std::string bytes) {
    if (!there_) return;
    bool done = false;
    sent_ = std::move(bytes);
    asio::async_write(socket_, asio::buffer(sent_), [&](const error_code& error, std::size_t) {
      done = true;
      if (error) leave();
    });
    for (const auto end = std::chrono::steady_clock::now() + send_most; !done;) {
      if (std::chrono::steady_clock::now() > end) leave();
      wait();
    }
  }
  void answer(std::string_view payload) {
    repeats_ = 0;
    answer_ = framed(payload);
    send(answer_);
  }
  void answer_again() {
    if (++repeats_ > repeats_most)
      leave();
    else
      send(answer_);
  }
  /// Nothing stays of a debugger that has gone.
  void leave() {
    if (!there_) return;
    there_ = false;
    ++life_;
    error_code ignored;
    socket_.shutdown(tcp::socket::shutdown_both, ignored);
    socket_.close(ignored);
    reader.forget();
    session.forget();
    accept();
  }

  PacketReader reader;
  DebugSession session;
  bool receipts = true;  // + and - are sent

 private:
  void accept() {
    acceptor_.async_accept(socket_, [this](const error_code& error) {
      if (error) {
        if (error != asio::error::operation_aborted) accept();
        return;
      }
      error_code ignored;
      socket_.set_option(tcp::no_delay(true), ignored);
      there_ = receipts = true;
      ++arrivals_;
      receive();
    });
  }
  void receive() {
    socket_.async_read_some(asio::buffer(bytes_),
                            [this, life = life_](const error_code& error, std::size_t count) {
                              if (life != life_) return;
                              if (error || !reader.add({bytes_.data(), count}))
                                leave();
                              else
                                receive();
                            });
  }

  asio::io_context context_{1};
  tcp::acceptor acceptor_;
  tcp::socket socket_;
  std::array<char, 4096> bytes_;
  std::string sent_, answer_;
  unsigned life_ = 0, arrivals_ = 0, repeats_ = 0;
  bool there_ = false;
};

Debugger::Debugger(std::uint16_t port) : client_(std::make_unique<Client>(port)) {}

void Debugger::belong_to(Run run) {
  client_->session.show_bench(std::move(run.bench));
  run_ = std::move(run);
}

Debugger::~Debugger() {
  if (client_->is_there()) client_->answer(run_is_over);
}

std::uint16_t Debugger::port() const noexcept { return client_->port(); }

bool Debugger::before_instruction(DebugTarget& target) noexcept {
  Client& c = *client_;
  const bool closely = c.session.looks_closely();
  if (++calls_ % (closely ? calls_per_look_closely : calls_per_look) == 0) look();
  if (awaited_) {
    stops_ = true;
    knows_ = true;  // it will ask
  }
  if (stops_) {
    stay(target, stopped_by_interrupt);
  } else if (steps_) {
    c.session.changed(target);
    stay(target, stopped_by_trap);
  } else if (closely) {
    if (const auto address = c.session.changed(target))
      stay(target, fmt::format("T05watch:{:x};thread:1;", *address));
    else if (c.session.breaks_at(target.pc()))
      stay(target, stopped_by_trap);
  }
  return steps_ || c.session.looks_closely();
}

void Debugger::asleep(DebugTarget& target) noexcept {
  if (++calls_ % calls_per_look != 0) return;
  look();
  if (stops_) stay(target, stopped_by_interrupt);
}

bool Debugger::breakpoint_instruction() noexcept {
  if (!client_->is_there()) return false;
  stops_ = true;
  return true;
}

void Debugger::ended(DebugTarget& target, std::string_view why) noexcept {
  client_->look();
  if (!client_->is_there() || run_is_ending()) return;
  const std::string line = fmt::format("{}\n", why);
  client_->answer("O" + to_hex({reinterpret_cast<const std::uint8_t*>(line.data()), line.size()}));
  stay(target, stopped_by_end);
}

/// While the processor runs.
void Debugger::look() {
  const unsigned before = client_->arrivals();
  client_->look();
  if (client_->arrivals() != before) stops_ = knows_ = true;
  if (client_->reader.take_interrupt()) stops_ = true;
  if (!client_->is_there()) steps_ = false;
}

/// Serves the debugger until it lets the processor go on.
void Debugger::stay(DebugTarget& target, std::string_view stop_reply) {
  using Kind = PacketReader::Kind;
  using Wish = DebugSession::Wish;
  Client& c = *client_;
  if (!knows_) c.answer(stop_reply);
  knows_ = stops_ = steps_ = false;
  for (bool stays = true; stays && !run_is_ending();) {
    if (!c.is_there() && !awaited_) break;
    if (c.is_there()) awaited_ = false;
    const PacketReader::Item item = c.reader.next();
    switch (item.kind) {
      case Kind::none:
        c.wait();
        break;
      case Kind::damaged:
        if (c.receipts) c.send("-");
        break;
      case Kind::again:
        c.answer_again();
        break;
      case Kind::nonsense:
        c.leave();
        break;
      case Kind::packet: {
        if (c.receipts) c.send("+");
        const DebugSession::Reply reply = c.session.answer(item.payload, target);
        if (reply.payload) c.answer(*reply.payload);
        if (reply.no_more_receipts) c.receipts = false;
        stays = reply.wish == Wish::stay;
        steps_ = reply.wish == Wish::step;
        if (reply.wish == Wish::detach || reply.wish == Wish::kill) c.leave();
        if (reply.wish == Wish::kill) run_.kill();
        if (reply.wish == Wish::restart) stops_ = knows_ = true;
        break;
      }
      case Kind::interrupt:
      case Kind::received:
        break;
    }
  }
  if (run_is_ending()) awaited_ = false;
  // What the debugger itself has written is no change.
  c.session.changed(target);
}

}  // namespace stillrotor::io::mcu
