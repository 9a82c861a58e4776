// A page without a browser: one connection to a panel, and what it says and hears. Waits are
// generous and end a test that would wait for ever.
#pragma once

#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/read.hpp>
#include <boost/asio/write.hpp>
#include <boost/beast/core.hpp>
#include <boost/beast/http.hpp>
#include <boost/beast/websocket.hpp>
#include <chrono>
#include <deque>
#include <functional>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <vector>

namespace stillrotor::test {

using Json = nlohmann::json;
inline constexpr std::chrono::seconds patience{60};

struct Heard {
  bool text = false;
  std::string bytes;
};

class PageClient {
 public:
  explicit PageClient(std::uint16_t port, std::string origin = {}) : port_(port) {
    namespace beast = boost::beast;
    auto& tcp = beast::get_lowest_layer(socket_);
    tcp.expires_after(patience);
    tcp.async_connect({boost::asio::ip::make_address("127.0.0.1"), port},
                      [this](beast::error_code error) { error_ = error; });
    run();
    const std::string host = "127.0.0.1:" + std::to_string(port);
    if (origin.empty()) origin = "http://" + host;
    socket_.set_option(
        beast::websocket::stream_base::decorator([origin](beast::websocket::request_type& request) {
          request.set(beast::http::field::origin, origin);
        }));
    socket_.async_handshake(answer_, host, "/live",
                            [this](beast::error_code error) { error_ = error; });
    run();
    upgraded_ = !error_;
    tcp.expires_never();
  }

  bool upgraded() const noexcept { return upgraded_; }
  unsigned status() const noexcept { return static_cast<unsigned>(answer_.result_int()); }

  void say(const Json& json) { send(json.dump(), true); }
  void send(const std::string& bytes, bool text) {
    boost::beast::error_code ignored;
    socket_.text(text);
    socket_.write(boost::asio::buffer(bytes), ignored);
  }
  /// Whatever goes over the wire, framed or not.
  void send_raw(const std::string& bytes) {
    boost::beast::error_code ignored;
    boost::asio::write(boost::beast::get_lowest_layer(socket_).socket(), boost::asio::buffer(bytes),
                       ignored);
  }

  /// The next message; nothing: closed, see close_code(), or the patience is over.
  std::optional<Heard> hear() {
    boost::beast::flat_buffer buffer;
    bool done = false;
    socket_.async_read(buffer, [&](boost::beast::error_code error, std::size_t) {
      error_ = error;
      done = true;
    });
    io_.restart();
    io_.run_for(patience);
    if (!done) {  // the operation must not outlive its buffer
      boost::beast::get_lowest_layer(socket_).cancel();
      io_.restart();
      io_.run();
      return {};
    }
    if (error_) return {};
    return Heard{socket_.got_text(), boost::beast::buffers_to_string(buffer.data())};
  }
  /// Until a text that has this key.
  Json hear(const char* key) {
    while (const auto heard = hear()) {
      if (!heard->text) continue;
      const Json json = Json::parse(heard->bytes, nullptr, false);
      if (json.is_object() && json.contains(key)) return json.at(key);
    }
    return nullptr;
  }
  /// Until a state that is so.
  Json hear_state(const std::function<bool(const Json&)>& so) {
    for (;;) {
      Json state = hear("state");
      if (state.is_null() || so(state)) return state;
    }
  }
  /// Until a binary frame.
  std::string hear_frame() {
    while (const auto heard = hear())
      if (!heard->text) return heard->bytes;
    return {};
  }
  Json greet(const std::string& token = {}, const std::string& client = {}) {
    Json hello{{"protocol", 1}};
    if (!token.empty()) hello["token"] = token;
    if (!client.empty()) hello["client"] = client;
    say({{"hello", hello}});
    return hear("welcome");
  }
  /// As one who is gone without a word.
  void vanish() {
    boost::beast::error_code ignored;
    boost::beast::get_lowest_layer(socket_).socket().close(ignored);
  }
  unsigned close_code() const noexcept { return socket_.reason().code; }

 private:
  void run() {
    io_.restart();
    io_.run();
  }

  boost::asio::io_context io_;
  boost::beast::websocket::stream<boost::beast::tcp_stream> socket_{io_};
  boost::beast::websocket::response_type answer_;
  boost::beast::error_code error_;
  std::uint16_t port_;
  bool upgraded_ = false;
};

/// One request, as text; the answer's head and body as text.
inline std::string http(std::uint16_t port, const std::string& request) {
  boost::asio::io_context io;
  boost::beast::tcp_stream stream(io);
  stream.connect({boost::asio::ip::make_address("127.0.0.1"), port});
  boost::beast::error_code error;
  boost::asio::write(stream.socket(), boost::asio::buffer(request), error);
  std::string answer;
  boost::asio::read(stream.socket(), boost::asio::dynamic_buffer(answer), error);
  return answer;
}

}  // namespace stillrotor::test
