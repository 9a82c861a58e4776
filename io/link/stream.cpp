#include "io/link/stream.hpp"

#include <boost/asio/error.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/steady_timer.hpp>
#include <chrono>
#include <mutex>
#include <random>
#include <vector>

#include "io/link/transport.hpp"

namespace stillrotor::io {
namespace {

constexpr std::int64_t ms = 1'000'000;
constexpr std::int64_t between_tries = 250 * ms, longest_try = 1000 * ms;
// Below what any network passes on in one piece: frames of several kinds share a datagram.
constexpr std::size_t datagram = 1200;

}  // namespace

class LinkStream::Impl : Transport::Listener, LinkSession::Wire {
 public:
  Impl(const LinkAddress& address, LinkSession& session)
      : session_(session),
        transport_(make_transport(address, context_, *this)),
        number_(static_cast<std::uint16_t>(std::random_device{}())) {
    out_.reserve(datagram);
  }
  ~Impl() override { stop(); }

  void start(const CaptureThread& thread) {
    thread_.start(thread, [this] { run(); });
  }
  void stop() noexcept { thread_.stop(); }
  std::string last_error() const {
    const std::lock_guard lock(error_mutex_);
    return error_;
  }

 private:
  enum class State : std::uint8_t { closed, opening, up };

  void run() {
    tick();
    while (!thread_.stopping()) context_.run_one();
    session_.due(monotonic_ns(), *this);  // an order to make safe may be among it
    flush();
    transport_->close();
    timer_.cancel();
    context_.restart();
    context_.poll();  // handlers that were cancelled
    context_.restart();
    if (state_ == State::up) session_.disconnected();
    state_ = State::closed;
  }

  void tick() {
    const std::int64_t now = monotonic_ns();
    if (state_ == State::opening && now - tried_ns_ > longest_try) {
      transport_->close();
      down(boost::asio::error::timed_out);
    }
    if (state_ == State::closed && now - tried_ns_ >= between_tries) {
      state_ = State::opening;
      tried_ns_ = now;
      transport_->open();
    }
    session_.due(now, *this);
    flush();
    timer_.expires_after(std::chrono::milliseconds(1));
    timer_.async_wait([this](const boost::system::error_code& error) {
      if (!error) tick();
    });
  }

  void up() override {
    state_ = State::up;
    session_.connected(++number_, monotonic_ns());
  }
  void bytes(std::span<const std::uint8_t> in, bool is_datagram) override {
    if (is_datagram) session_.cut();
    session_.take(in, monotonic_ns());
  }
  void down(const boost::system::error_code& why) override {
    if (state_ == State::up) session_.disconnected();
    state_ = State::closed;
    tried_ns_ = monotonic_ns();
    const std::lock_guard lock(error_mutex_);
    error_ = why.message();
  }

  bool send(std::span<const std::uint8_t> frame) override {
    if (out_.size() + frame.size() > datagram) flush();
    out_.insert(out_.end(), frame.begin(), frame.end());
    return true;
  }
  void flush() {
    // What finds no room is gone: numbers tell the chip, and what has to hold is sent again.
    if (!out_.empty() && state_ == State::up) transport_->write(out_);
    out_.clear();
  }

  LinkSession& session_;
  boost::asio::io_context context_{1};
  boost::asio::steady_timer timer_{context_};
  std::unique_ptr<Transport> transport_;
  std::vector<std::uint8_t> out_;
  State state_ = State::closed;
  std::int64_t tried_ns_ = INT64_MIN / 2;
  std::uint16_t number_;
  mutable std::mutex error_mutex_;
  std::string error_;
  RunningCapture thread_;  // last: stops before what it uses goes
};

LinkStream::LinkStream(const LinkAddress& address, LinkSession& session)
    : impl_(std::make_unique<Impl>(address, session)) {}
LinkStream::~LinkStream() = default;
void LinkStream::start(const CaptureThread& thread) { impl_->start(thread); }
void LinkStream::stop() noexcept { impl_->stop(); }
std::string LinkStream::last_error() const { return impl_->last_error(); }

}  // namespace stillrotor::io
