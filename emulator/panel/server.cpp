#include "emulator/panel/server.hpp"

#include <fmt/format.h>
#include <pthread.h>
#include <sys/resource.h>
#include <sys/syscall.h>
#include <unistd.h>

#include <algorithm>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/beast/core.hpp>
#include <boost/beast/http.hpp>
#include <boost/beast/websocket.hpp>
#include <list>
#include <optional>
#include <stdexcept>
#include <thread>

#include "emulator/panel/panel_assets.hpp"

namespace stillrotor {
namespace {

namespace asio = boost::asio;
namespace beast = boost::beast;
namespace http = beast::http;
namespace websocket = beast::websocket;
using Tcp = asio::ip::tcp;
using Clock = std::chrono::steady_clock;
using namespace std::chrono_literals;

constexpr auto take_in_every = 11ms, take_in_soon = 1ms;
constexpr auto turn_every = 32ms;  // with the rest of a wait: 30 times a second at most
constexpr auto http_patience = 15s, close_patience = 2s;
constexpr std::size_t refused_most = 32;  // connections beyond the limit that are told so
constexpr int send_buffer_bytes = 256 * 1024;
constexpr int niceness = 5;

constexpr std::string_view page_policy =
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
    "connect-src 'self'; media-src 'self' blob:; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'";
constexpr std::string_view report_policy =
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; "
    "form-action 'none'; frame-ancestors 'none'";

using Response = http::response<http::string_body>;

std::vector<std::string> all_of(const http::fields& head, http::field name) {
  std::vector<std::string> values;
  const auto range = head.equal_range(name);
  for (auto it = range.first; it != range.second; ++it) values.emplace_back(it->value());
  return values;
}

}  // namespace

struct PanelServer::Impl {
  class HttpSession;
  class LiveSession;

  // What sessions hold on to outlives io, which holds the last of them.
  ListenAddress address;
  std::optional<AccessRules> rules;
  Shows shows;
  std::optional<Panel> panel;
  std::list<std::weak_ptr<LiveSession>> pages;
  std::size_t connections = 0;
  Clock::time_point turned{};
  bool hurry = false;
  std::atomic<std::size_t> watchers{0};
  std::atomic<bool> ever_watched{false};
  asio::io_context io{1};
  Tcp::acceptor acceptor{io};
  bool accepts = false;
  asio::steady_timer timer{io};
  std::thread thread;

  void listen(const ListenAddress&);
  void accept();
  void tick();
  void work();
  Response answer(const http::request<http::empty_body>&) const;
};

namespace {

RequestHead head_of(const http::request<http::empty_body>& request) {
  RequestHead head;
  head.get_or_head = request.method() == http::verb::get || request.method() == http::verb::head;
  head.upgrade = websocket::is_upgrade(request);
  head.target = std::string(request.target());
  head.host = all_of(request, http::field::host);
  head.origin = all_of(request, http::field::origin);
  head.authorization = all_of(request, http::field::authorization);
  return head;
}

Response response(unsigned status, std::string_view type, std::string body) {
  Response out{static_cast<http::status>(status), 11};
  out.set(http::field::content_type, beast::string_view(type.data(), type.size()));
  out.set("Content-Security-Policy", beast::string_view(page_policy.data(), page_policy.size()));
  out.set("X-Content-Type-Options", "nosniff");
  out.set("Referrer-Policy", "no-referrer");
  out.set(http::field::cache_control, "no-store");
  if (status == 401) out.set(http::field::www_authenticate, "Bearer");
  if (status == 405) out.set(http::field::allow, "GET, HEAD");
  out.body() = std::move(body);
  out.prepare_payload();
  return out;
}

Response refusal(unsigned status) {
  std::string_view why = "";
  switch (status) {
    case 401:
      why = "This needs the panel's token.";
      break;
    case 403:
      why = "A page of another place may not come here.";
      break;
    case 404:
      why = "There is no such file.";
      break;
    case 405:
      why = "Allowed: GET, HEAD.";
      break;
    case 413:
      why = "Allowed: no body.";
      break;
    case 421:
      why = "The panel is not called that. Use the address that it printed.";
      break;
    case 431:
      why = "The header is too large.";
      break;
    case 503:
      why = "Too many connections; close a page.";
      break;
    default:
      why = "That is no request.";
      break;
  }
  return response(status, "text/plain; charset=utf-8", std::string(why) + "\n");
}

}  // namespace

/// One page at its WebSocket.
class PanelServer::Impl::LiveSession : public std::enable_shared_from_this<LiveSession> {
 public:
  LiveSession(Impl& server, beast::tcp_stream stream)
      : server_(server), socket_(std::move(stream)) {}
  ~LiveSession() {
    --server_.connections;
    if (client_) server_.panel->leave(client_, Clock::now());
  }
  LiveSession(const LiveSession&) = delete;
  LiveSession& operator=(const LiveSession&) = delete;

  void begin(const http::request<http::empty_body>& request) {
    beast::get_lowest_layer(socket_).expires_never();
    socket_.set_option(websocket::stream_base::timeout{5s, 20s, true});
    socket_.read_message_max(panel_limit::message_bytes);
    socket_.auto_fragment(false);
    const bool room = server_.connections <= server_limit::connections;
    socket_.async_accept(request, [self = shared_from_this(), room](beast::error_code error) {
      if (error) return;
      self->client_ = self->server_.panel->join(Clock::now());
      if (!room) self->client_->close = CloseCode::too_many;
      self->server_.pages.push_back(self);
      self->read();
      self->go_on(Clock::now());
    });
  }

  /// Sends what there is to send, one thing after the other.
  void go_on(Clock::time_point now) {
    if (!client_ || closing_) return;
    if (writing_) {
      if (client_->close && now - began_ > close_patience) drop();
      return;
    }
    if (!client_->texts.empty()) {
      text_ = std::move(client_->texts.front());
      client_->texts.pop_front();
      socket_.text(true);
      return write(asio::buffer(text_), now);
    }
    if (client_->close) return close(*client_->close);
    if (!client_->greeted()) return;
    try {
      auto frame = client_->views.next_frame(client_->run->source());
      if (!frame) return;
      frame_ = std::move(*frame);
    } catch (const std::exception&) {  // a record that is damaged; others are not to wait for it
      return drop();
    }
    socket_.binary(true);
    write(asio::buffer(frame_), now);
  }

  const PanelClientPtr& client() const noexcept { return client_; }

 private:
  void read() {
    socket_.async_read(buffer_, [self = shared_from_this()](beast::error_code error, std::size_t) {
      if (error) return self->drop();
      self->heard();
    });
  }

  void heard() {
    const Clock::time_point now = Clock::now();
    if (!socket_.got_text()) {
      client_->close = CloseCode::not_text;
    } else {
      const auto data = buffer_.data();
      server_.panel->hear(*client_, {static_cast<const char*>(data.data()), data.size()}, now);
    }
    buffer_.consume(buffer_.size());
    go_on(now);
    read();  // also while closing: the other side's answer has to be read
  }

  template <class Buffer>
  void write(const Buffer& buffer, Clock::time_point now) {
    writing_ = true;
    began_ = now;
    socket_.async_write(buffer, [self = shared_from_this()](beast::error_code error, std::size_t) {
      self->writing_ = false;
      if (error) return self->drop();
      self->go_on(Clock::now());
    });
  }

  void close(CloseCode code) {
    closing_ = true;
    socket_.async_close(websocket::close_code(static_cast<std::uint16_t>(code)),
                        [self = shared_from_this()](beast::error_code) { self->drop(); });
  }

  void drop() {
    closing_ = true;
    beast::error_code ignored;
    beast::get_lowest_layer(socket_).socket().close(ignored);
  }

  Impl& server_;
  websocket::stream<beast::tcp_stream> socket_;
  beast::flat_buffer buffer_;
  PanelClientPtr client_;
  std::string text_;
  FrameBytes frame_;
  bool writing_ = false, closing_ = false;
  Clock::time_point began_{};
};

/// A connection until it becomes a WebSocket, if it does.
class PanelServer::Impl::HttpSession : public std::enable_shared_from_this<HttpSession> {
 public:
  HttpSession(Impl& server, Tcp::socket socket) : server_(server), stream_(std::move(socket)) {
    ++server_.connections;
  }
  ~HttpSession() {
    if (!handed_over_) --server_.connections;
  }
  HttpSession(const HttpSession&) = delete;
  HttpSession& operator=(const HttpSession&) = delete;

  void read() {
    parser_.emplace();
    parser_->header_limit(server_limit::header_bytes);
    parser_->body_limit(0);
    stream_.expires_after(http_patience);
    http::async_read(stream_, buffer_, *parser_,
                     [self = shared_from_this()](beast::error_code error, std::size_t) {
                       self->on_read(error);
                     });
  }

 private:
  void on_read(beast::error_code error) {
    if (error == http::error::header_limit || error == http::error::buffer_overflow)
      return write(refusal(431), false);
    if (error == http::error::body_limit || error == http::error::unexpected_body)
      return write(refusal(413), false);
    if (error == http::error::end_of_stream) return;
    if (error.category() == http::make_error_code(http::error::bad_method).category() &&
        error != http::error::partial_message)
      return write(refusal(400), false);
    if (error) return;
    const auto& request = parser_->get();
    const RequestHead head = head_of(request);
    if (const unsigned status = server_.rules->refusal(head)) return write(refusal(status), false);
    if (head.upgrade) {
      handed_over_ = true;
      std::make_shared<LiveSession>(server_, std::move(stream_))->begin(request);
      return;
    }
    if (server_.connections > server_limit::connections) return write(refusal(503), false);
    Response out = server_.answer(request);
    write(std::move(out), request.keep_alive());
  }

  void write(Response out, bool keep) {
    stream_.expires_after(http_patience);
    out.keep_alive(keep);
    response_.emplace(std::move(out));
    const bool body = !parser_ || parser_->get().method() != http::verb::head;
    const auto then = [self = shared_from_this(), keep](beast::error_code error, std::size_t) {
      if (error) return;
      if (keep) return self->read();
      beast::error_code ignored;
      self->stream_.socket().shutdown(Tcp::socket::shutdown_send, ignored);
    };
    if (body) return http::async_write(stream_, *response_, then);
    serializer_.emplace(*response_);
    http::async_write_header(stream_, *serializer_, then);
  }

  Impl& server_;
  beast::tcp_stream stream_;
  beast::flat_buffer buffer_{server_limit::header_bytes + 1};
  std::optional<http::request_parser<http::empty_body>> parser_;
  std::optional<Response> response_;
  std::optional<http::response_serializer<http::string_body>> serializer_;
  bool handed_over_ = false;
};

Response PanelServer::Impl::answer(const http::request<http::empty_body>& request) const {
  const std::string_view target(request.target().data(), request.target().size());
  if (is_document(target)) {
    auto text = panel->document(target);
    if (!text) return refusal(404);
    const bool report = target.ends_with(".html");
    Response out =
        response(200, report ? "text/html; charset=utf-8" : "text/yaml; charset=utf-8", *text);
    if (report)
      out.set("Content-Security-Policy",
              beast::string_view(report_policy.data(), report_policy.size()));
    return out;
  }
  const std::string_view path = target == "/" ? "/index.html" : target;
  for (const PanelAsset& asset : panel_assets())
    if (asset.path == path) return response(200, asset.type, std::string(asset.bytes));
  return refusal(404);
}

void PanelServer::Impl::listen(const ListenAddress& at) {
  address = at;
  try {
    const Tcp::endpoint end(asio::ip::make_address(at.host), at.port);
    acceptor.open(end.protocol());
    acceptor.set_option(asio::socket_base::reuse_address(true));
    acceptor.bind(end);
    acceptor.listen(128);
  } catch (const boost::system::system_error& error) {
    throw std::runtime_error(
        fmt::format("The panel cannot listen at {}: {}. Give another port (--port 0: any that is "
                    "free), or an address of this computer (--listen).",
                    host_and_port(at.host, at.port), error.code().message()));
  }
  address.port = acceptor.local_endpoint().port();
}

void PanelServer::Impl::accept() {
  accepts = true;
  acceptor.async_accept([this](beast::error_code error, Tcp::socket socket) {
    if (error == asio::error::operation_aborted) return;
    if (error) {  // no descriptor left, say: not again before the next tick
      accepts = false;
      return;
    }
    accept();
    if (connections < server_limit::connections + refused_most) {
      beast::error_code ignored;
      socket.set_option(Tcp::no_delay(true), ignored);
      socket.set_option(asio::socket_base::send_buffer_size(send_buffer_bytes), ignored);
      std::make_shared<HttpSession>(*this, std::move(socket))->read();
    }
  });
}

void PanelServer::Impl::tick() {
  timer.expires_after(hurry ? take_in_soon : take_in_every);
  timer.async_wait([this](beast::error_code error) {
    if (!error) tick();
  });
  if (!accepts) accept();
  const Clock::time_point now = Clock::now();
  if (shows.take_in) hurry = shows.take_in(*panel, now);
  if (now - turned < turn_every) return;
  turned = now;
  panel->turn(now);
  std::size_t greeted = 0;
  for (auto it = pages.begin(); it != pages.end();) {
    const auto page = it->lock();
    if (!page) {
      it = pages.erase(it);
      continue;
    }
    if (page->client()->greeted()) ++greeted;
    page->go_on(now);
    ++it;
  }
  watchers.store(greeted, std::memory_order_relaxed);
  if (greeted > 0) ever_watched.store(true, std::memory_order_relaxed);
}

void PanelServer::Impl::work() {
  pthread_setname_np(pthread_self(), "panel");
  setpriority(PRIO_PROCESS, static_cast<id_t>(syscall(SYS_gettid)), niceness);
  accept();
  tick();
  for (;;) {
    try {
      io.run();
      return;
    } catch (const std::exception&) {
      // Out of memory, or a record that broke while it was looked at: whoever asked is cut off
      // with it; the run and the others go on.
    }
  }
}

PanelServer::PanelServer(const ListenAddress& address, const std::string& token, Shows shows)
    : impl_(std::make_unique<Impl>()) {
  impl_->listen(address);
  impl_->rules.emplace(impl_->address, token);
  impl_->shows = std::move(shows);
  impl_->panel.emplace(*impl_->rules, impl_->shows.run, impl_->shows.driven, impl_->shows.choice);
  impl_->thread = std::thread([this] { impl_->work(); });
}

PanelServer::~PanelServer() {
  impl_->io.stop();
  impl_->thread.join();
}

const ListenAddress& PanelServer::address() const noexcept { return impl_->address; }
std::string PanelServer::url() const {
  return "http://" + host_and_port(impl_->address.host, impl_->address.port) + "/";
}
std::size_t PanelServer::watchers() const noexcept {
  return impl_->watchers.load(std::memory_order_relaxed);
}

bool PanelServer::ever_watched() const noexcept {
  return impl_->ever_watched.load(std::memory_order_relaxed);
}

}  // namespace stillrotor
