#include "drivers/modbus/frame.hpp"

#include <gtest/gtest.h>

#include <random>

#include "drivers/fault_server.hpp"
#include "drivers/modbus/link.hpp"

namespace steadyglow::drivers::modbus {
namespace {

// Requests and replies: MODBUS Application Protocol Specification V1.1b3, the examples of sections 6.1 to 6.5 and 7.

TEST(Frame, AsksForCoilsAsInThePublishedExample) {  // section 6.1, coils 20 to 38
  const Bytes request = read_pdu(RegisterTable::coil, 0x0013, 0x0013);
  EXPECT_EQ(request, (Bytes{0x01, 0x00, 0x13, 0x00, 0x13}));
  const Reply reply = match_pdu(request, Bytes{0x01, 0x03, 0xCD, 0x6B, 0x05});
  ASSERT_EQ(reply.match, Match::answer);
  std::string states;  // "The status of outputs 27-20 is CD hex, or binary 1100 1101", and so on
  for (std::size_t i = 0; i < 19; ++i) states += bit_at(reply.data, i) ? '1' : '0';
  EXPECT_EQ(states, "1011001111010110101");
}

TEST(Frame, AsksForDiscreteInputsAsInThePublishedExample) {  // section 6.2, inputs 197 to 218
  const Bytes request = read_pdu(RegisterTable::discrete, 0x00C4, 0x0016);
  EXPECT_EQ(request, (Bytes{0x02, 0x00, 0xC4, 0x00, 0x16}));
  EXPECT_EQ(match_pdu(request, Bytes{0x02, 0x03, 0xAC, 0xDB, 0x35}).match, Match::answer);
}

TEST(Frame, AsksForHoldingRegistersAsInThePublishedExample) {  // section 6.3, registers 108 to 110
  const Bytes request = read_pdu(RegisterTable::holding, 0x006B, 3);
  EXPECT_EQ(request, (Bytes{0x03, 0x00, 0x6B, 0x00, 0x03}));
  const Reply reply = match_pdu(request, Bytes{0x03, 0x06, 0x02, 0x2B, 0x00, 0x00, 0x00, 0x64});
  ASSERT_EQ(reply.match, Match::answer);
  EXPECT_EQ(register_at(reply.data, 0), 555);
  EXPECT_EQ(register_at(reply.data, 1), 0);
  EXPECT_EQ(register_at(reply.data, 2), 100);
}

TEST(Frame, AsksForInputRegistersAsInThePublishedExample) {  // section 6.4, input register 9
  const Bytes request = read_pdu(RegisterTable::input, 0x0008, 1);
  EXPECT_EQ(request, (Bytes{0x04, 0x00, 0x08, 0x00, 0x01}));
  EXPECT_EQ(register_at(match_pdu(request, Bytes{0x04, 0x02, 0x00, 0x0A}).data, 0), 10);
}

TEST(Frame, WritesACoilAsInThePublishedExample) {  // section 6.5, coil 173 on; 0000h is off
  const Bytes request = write_coil_pdu(0x00AC, true);
  EXPECT_EQ(request, (Bytes{0x05, 0x00, 0xAC, 0xFF, 0x00}));
  EXPECT_EQ(match_pdu(request, request).match, Match::answer);
  EXPECT_EQ(write_coil_pdu(0x00AC, false), (Bytes{0x05, 0x00, 0xAC, 0x00, 0x00}));
}

TEST(Frame, KnowsAnExceptionAsInThePublishedExample) {  // section 7: 81h 02h, no such address
  const Reply reply = match_pdu(read_pdu(RegisterTable::coil, 0x04A1, 1), Bytes{0x81, 0x02});
  EXPECT_EQ(reply.match, Match::exception);
  EXPECT_EQ(reply.exception, 2);
}

TEST(Frame, AnEchoOfTheOtherStateConfirmsNothing) {
  EXPECT_EQ(match_pdu(write_coil_pdu(3, false), write_coil_pdu(3, true)).match, Match::mismatch);
  EXPECT_EQ(match_pdu(write_coil_pdu(3, false), write_coil_pdu(4, false)).match, Match::mismatch);
}

TEST(Frame, AnotherCountOrFunctionOrExceptionIsNoAnswer) {
  const Bytes request = read_pdu(RegisterTable::holding, 0x006B, 3);
  EXPECT_EQ(match_pdu(request, Bytes{0x03, 0x04, 0x02, 0x2B, 0x00, 0x00}).match, Match::mismatch);
  EXPECT_EQ(match_pdu(request, Bytes{0x04, 0x06, 0x02, 0x2B, 0x00, 0x00, 0x00, 0x64}).match, Match::mismatch);
  EXPECT_EQ(match_pdu(request, Bytes{0x03, 0x06, 0x02, 0x2B, 0x00, 0x00, 0x00}).match, Match::mismatch);
  EXPECT_EQ(match_pdu(request, Bytes{0x84, 0x02}).match, Match::mismatch);
  EXPECT_EQ(match_pdu(request, Bytes{}).match, Match::mismatch);
}

// The same examples in a TCP header: MODBUS Messaging on TCP/IP, transaction 1, unit 11h.

TEST(Frame, WrapsARequestForTcp) {
  EXPECT_EQ(tcp_frame(1, 0x11, read_pdu(RegisterTable::holding, 0x006B, 3)),
            (Bytes{0x00, 0x01, 0x00, 0x00, 0x00, 0x06, 0x11, 0x03, 0x00, 0x6B, 0x00, 0x03}));
}

TEST(Frame, EveryFieldOfTheTcpHeaderMustFit) {
  const Bytes request = read_pdu(RegisterTable::holding, 0x006B, 3);
  const Bytes right{0x00, 0x01, 0x00, 0x00, 0x00, 0x09, 0x11, 0x03, 0x06, 0x02, 0x2B, 0x00, 0x00, 0x00, 0x64};
  ASSERT_EQ(match_tcp(1, 0x11, request, right).match, Match::answer);
  for (std::size_t i = 0; i < tcp_header_bytes; ++i) {
    Bytes wrong = right;
    wrong[i] ^= 0x01;
    EXPECT_EQ(match_tcp(1, 0x11, request, wrong).match, Match::mismatch) << "byte " << i;
  }
}

TEST(Frame, AnRtuFrameOfAnotherUnitIsForeign) {
  const Bytes request = read_pdu(RegisterTable::holding, 0x006B, 3);
  const Bytes frame{0x11, 0x03, 0x06, 0x02, 0x2B, 0x00, 0x00, 0x00, 0x64, 0xC8, 0xBA};
  EXPECT_EQ(match_rtu(0x11, request, frame).match, Match::answer);
  EXPECT_EQ(match_rtu(0x12, request, frame).match, Match::foreign);
}

TEST(Frame, TheTestServersCheckIsThePublishedOne) {
  // MODBUS over Serial Line V1.02, appendix B, section 6.2.2: 02 07 is followed by 41 12.
  EXPECT_EQ(tests::with_check({0x02, 0x07}), (Bytes{0x02, 0x07, 0x41, 0x12}));
  // The catalogue check value of CRC-16/MODBUS for "123456789" is 4B37h.
  EXPECT_EQ(tests::with_check({'1', '2', '3', '4', '5', '6', '7', '8', '9'}).at(9), 0x37);
}

TEST(Frame, TheSilentIntervalFollowsTheStandard) {
  // MODBUS over Serial Line V1.02, section 2.5.1.1: 3.5 characters of 11 bits; 1.750 ms above 19200 bit/s.
  EXPECT_EQ(silent_interval(1200).count(), 32084);
  EXPECT_EQ(silent_interval(9600).count(), 4011);
  EXPECT_EQ(silent_interval(19200).count(), 2006);
  EXPECT_EQ(silent_interval(38400).count(), 1750);
  EXPECT_EQ(silent_interval(115200).count(), 1750);
}

// Read Device Identification, section 6.21: the layout of its example; the texts are ours.
const Bytes identification_reply{0x2B, 0x0E, 0x01, 0x01, 0x00, 0x00, 0x03, 0x00, 0x03, 'O', 'u', 'r', 0x01, 0x02, 'A', '8', 0x02, 0x05, 'V', '2', '.', '1', '1'};

TEST(Frame, AsksForTheBasicIdentification) {
  EXPECT_EQ(identification_pdu(0), (Bytes{0x2B, 0x0E, 0x01, 0x00}));
  const Reply reply = match_pdu(identification_pdu(0), identification_reply);
  ASSERT_EQ(reply.match, Match::answer);
  const Identification said = read_identification(reply.data);
  EXPECT_EQ(said.texts, (std::vector<std::string>{"Our", "A8", "V2.11"}));
  EXPECT_FALSE(said.is_more);
}

TEST(Frame, KnowsThatAnIdentificationGoesOn) {
  Bytes part = identification_reply;
  part[4] = 0xFF;
  part[5] = 0x02;
  const Reply reply = match_pdu(identification_pdu(0), part);
  ASSERT_EQ(reply.match, Match::answer);
  EXPECT_TRUE(read_identification(reply.data).is_more);
  EXPECT_EQ(read_identification(reply.data).next_object, 2);
}

TEST(Frame, AnIdentificationThatIsCutAnywhereIsNoAnswer) {
  for (std::size_t length = 0; length < identification_reply.size(); ++length)
    EXPECT_EQ(match_pdu(identification_pdu(0), std::span(identification_reply).first(length)).match, Match::mismatch) << length;
}

TEST(Frame, ABentIdentificationIsNeverReadPastItsEnd) {
  std::mt19937 random(43);
  int answers = 0;
  for (int i = 0; i < 50000; ++i) {
    Bytes bent = identification_reply;
    for (int times = static_cast<int>(random() % 3); times >= 0; --times) bent[3 + random() % (bent.size() - 3)] = static_cast<std::uint8_t>(random() % 30);
    if (random() % 2 == 0) bent.resize(3 + random() % (bent.size() - 3));
    const Reply reply = match_pdu(identification_pdu(0), bent);
    if (reply.match != Match::answer) continue;
    ++answers;
    std::size_t length = 5;
    for (const std::string& text : read_identification(reply.data).texts) length += 2 + text.size();
    ASSERT_EQ(length, reply.data.size());
  }
  EXPECT_GT(answers, 100);
}

TEST(Frame, MeasuresAnIdentificationAsItComesIn) {
  Bytes frame{0x11};
  frame.insert(frame.end(), identification_reply.begin(), identification_reply.end());
  const int length = static_cast<int>(frame.size()) + 2;
  // The length stands as soon as the last text has said how long it is.
  const std::size_t known_from = frame.size() - 5;
  for (std::size_t have = 0; have < frame.size(); ++have) EXPECT_EQ(identification_frame_bytes(std::span(frame).first(have)), have < known_from ? 0 : length) << have;
  EXPECT_EQ(identification_frame_bytes(frame), length);
  EXPECT_EQ(identification_frame_bytes(Bytes{0x11, 0xAB}), 5);
  EXPECT_EQ(identification_frame_bytes(Bytes{0x11, 0x03}), -1);
}

TEST(Frame, TheCheckIsThePublishedOne) {
  // MODBUS over Serial Line V1.02, appendix B: 02h 07h has the check 1241h, sent as 41h 12h.
  EXPECT_EQ(with_check(Bytes{0x02, 0x07}), (Bytes{0x02, 0x07, 0x41, 0x12}));
  const Bytes frame{0x11, 0x03, 0x00, 0x6B, 0x00, 0x03};
  EXPECT_EQ(with_check(frame), tests::with_check(frame));  // Boost.CRC
}

}  // namespace
}  // namespace steadyglow::drivers::modbus
