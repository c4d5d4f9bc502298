#include "seal/readme.hpp"

namespace steadyglow::seal {

std::string readme(const Manifest& m) {
  std::string text = "The sealed record of run " + std::to_string(m.run) + ": " + m.title + (m.serial.empty() ? "" : ", serial number " + m.serial) + "\n";
  text += "Code of the data: " + m.code + "\n";
  text += "Key that signed it: " + m.key_fingerprint + "\n";
  text += R"(
It says what the shop's meters showed while this unit soaked, and what the program made of it. It shows that the unit
ran; it does not promise a life. A unit with its cover off, or on a bench, can kill: read no record as leave to open one.

  the pages        for people
  readings.csv     every reading, with units of measure; a row's last column says which points had no good value, and why
  events.jsonl     what was found, one a line; each line holds the SHA-256 of the line before
  run.sqlite       everything an engine must be fed to judge the run again
  manifest.json    what is here: size and SHA-256 of every file
  manifest.sig     the shop's signature of manifest.json: Ed25519 (RFC 8032)
  key.pub          the key that it was made with

Check it with the program that made it:

  steadyglow verify FOLDER-OR-ZIP --key FINGERPRINT

Check it by hand, in the unpacked folder (openssl 3):

  openssl pkeyutl -verify -pubin -inkey key.pub -rawin -in manifest.json -sigfile manifest.sig
  openssl pkey -pubin -in key.pub -outform DER | tail -c 32 | sha256sum | cut -c 1-32
  sha256sum *
  sha256sum events.jsonl readings.csv run.sqlite | sha256sum | cut -c 1-16

The first must say that the signature is good. The second must give the fingerprint that the shop told you on another
way than with this record (a printed page, a telephone): anybody can sign with a key of their own. The third must give the
numbers in manifest.json, and no file may be there that it does not list. The fourth gives the code of the data.
)";
  return text;
}

}  // namespace steadyglow::seal
