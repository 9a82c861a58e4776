// Two threads write one word, and nothing orders them.
#include <thread>

int main() {
  int word = 0;
  std::thread other([&word] { word = 1; });
  word = 2;
  other.join();
}
