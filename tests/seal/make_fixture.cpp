/// make_fixture OUT.zip: the evening of the tests, sealed. One for each format and each engine is kept in fixtures/.
#include <iostream>

#include "seal/evening.hpp"

int main(int count, char** words) try {
  using namespace steadyglow::seal;
  if (count != 2) {
    std::cerr << "make_fixture OUT.zip\n";
    return 64;
  }
  must(write_container(words[1], evening().files()));
  std::cout << evening().shop_key().public_key().fingerprint() << "\n";
  return 0;
} catch (const std::exception& error) {
  std::cerr << error.what() << "\n";
  return 74;
}
