// The process in which firmware runs: loads it, serves its calls, and says what it dies of.
//   stillrotor_firmware_process FILE, the mailbox as descriptor 3
#include <dlfcn.h>
#include <fcntl.h>
#include <signal.h>
#include <sys/mman.h>
#include <sys/prctl.h>
#include <ucontext.h>
#include <unistd.h>

#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <cstring>

#include "io/hostfw/board.hpp"
#include "io/hostfw/loaded.hpp"
#include "io/hostfw/process_limits.hpp"
#include "io/hostfw/turns.hpp"

namespace stillrotor::io::hostfw {
namespace {

Mailbox* box = nullptr;
Turns* turns = nullptr;

/// Pages in use, from /proc: the only way that a signal handler may take.
std::uint64_t memory_bytes() noexcept {
  char text[64] = {};
  const int file = open("/proc/self/statm", O_RDONLY | O_CLOEXEC);
  if (file < 0) return 0;
  const ssize_t size = read(file, text, sizeof text - 1);
  close(file);
  std::uint64_t pages = 0;
  for (ssize_t k = 0; k < size && text[k] >= '0' && text[k] <= '9'; ++k)
    pages = 10 * pages + static_cast<std::uint64_t>(text[k] - '0');
  return pages * static_cast<std::uint64_t>(sysconf(_SC_PAGESIZE));
}

std::uintptr_t program_counter(const void* context) noexcept {
  [[maybe_unused]] const auto* c = static_cast<const ucontext_t*>(context);
#if defined(__x86_64__)
  return static_cast<std::uintptr_t>(c->uc_mcontext.gregs[REG_RIP]);
#elif defined(__aarch64__)
  return static_cast<std::uintptr_t>(c->uc_mcontext.pc);
#else
  return 0;
#endif
}

/// Not by the book: dladdr() may take a lock that the firmware holds. Then the bench's patience
/// ends it all the same.
void dying(int signal, siginfo_t* info, void* context) {
  const std::uintptr_t at = program_counter(context);
  Dl_info symbol{};
  const char* name = "";
  std::size_t offset = 0;
  if (at != 0 && dladdr(reinterpret_cast<void*>(at), &symbol) != 0 && symbol.dli_sname) {
    name = symbol.dli_sname;
    offset = at - reinterpret_cast<std::uintptr_t>(symbol.dli_saddr);
  }
  box->signal = static_cast<std::uint32_t>(signal);
  box->address = reinterpret_cast<std::uintptr_t>(info->si_addr);
  box->memory_bytes = memory_bytes();
  if (*name != '\0')
    std::snprintf(box->words.data(), box->words.size(), "%s+0x%zx", name, offset);
  else
    box->words[0] = '\0';
  box->answer = Answer::signal;
  turns->hand_over();
  raise(signal);  // with SA_RESETHAND: the default, death
}

void watch_signals() {
  static std::byte stack[64 * 1024];  // a firmware that ran out of its own has none left
  stack_t alternate{};
  alternate.ss_sp = stack;
  alternate.ss_size = sizeof stack;
  sigaltstack(&alternate, nullptr);
  struct sigaction action {};
  action.sa_sigaction = dying;
  action.sa_flags = SA_SIGINFO | SA_ONSTACK | static_cast<int>(SA_RESETHAND);
  for (const int signal : {SIGSEGV, SIGBUS, SIGILL, SIGFPE, SIGABRT, SIGTRAP, SIGSYS, SIGXFSZ})
    sigaction(signal, &action, nullptr);
}

void unfit(const std::string& why) {
  std::snprintf(box->words.data(), box->words.size(), "%s", why.c_str());
  box->answer = Answer::unfit;
  turns->hand_over();
}

int serve(const char* file) {
  close_range(4, ~0u, 0);  // the bench's record is none of the firmware's business
  prctl(PR_SET_PDEATHSIG, SIGKILL);
  void* shared =
      mmap(nullptr, sizeof(Mailbox), PROT_READ | PROT_WRITE, MAP_SHARED, mailbox_file, 0);
  if (shared == MAP_FAILED) return 1;
  close(mailbox_file);
  box = static_cast<Mailbox*>(shared);
  Turns own(*box, firmware_side);
  turns = &own;
  watch_signals();
  Loaded loaded;
  if (const std::string fault = loaded.load(file); !fault.empty()) {
    unfit(fault);
    return 1;
  }
  Board board(
      *box,
      [](void*) noexcept {
        turns->hand_over();
        turns->wait(-1);
      },
      nullptr);
  box->answer = Answer::ready;
  for (;;) {
    turns->hand_over();
    turns->wait(-1);
    board.serve(*loaded.firmware());
  }
}

}  // namespace
}  // namespace stillrotor::io::hostfw

int main(int count, char** arguments) {
  if (count != 2) {
    std::fputs("stillrotor starts this program for firmware that was compiled for the host.\n",
               stderr);
    return 2;
  }
  return stillrotor::io::hostfw::serve(arguments[1]);
}
