#pragma once
/// What the pages of a run are made of: its figures, what the shop knows of the unit, photos, and where the record can be checked.
#include <string>
#include <vector>

#include "core/result.hpp"
#include "record/page_model.hpp"
#include "record/run_figures.hpp"

namespace steadyglow::record {

/// What the card of the unit says, in sentences that go onto the page as they are. Every list and text may be empty.
struct CardExtract {
  std::string plate;                 ///< maker and model as plated
  std::string nameplate;             ///< "230 V, 50 Hz"
  std::string stock_number;
  std::vector<std::string> faults;   ///< with which it came
  std::vector<std::string> done;     ///< parts and adjustments
  std::vector<std::string> tubes;    ///< socket, identity and hours before
  std::vector<std::string> safety;   ///< tests of electrical safety: method, values, instrument, who
};

/// The record of the other half of a pair.
struct Sister {
  std::string title;
  std::string serial;
  std::string short_code;
};

struct PageInput {
  const RunFigures* figures = nullptr;
  CardExtract card;
  std::vector<Photo> photo;   ///< of the unit: none or one
  std::vector<Photo> clips;   ///< where the clips sat
  std::string short_code;     ///< of the sealed record; empty: not sealed
  std::string key_fingerprint;
  std::vector<Sister> sisters;
  std::string shop;           ///< who says all this; empty: nobody is named
};

/// Both parts of the pages: the side for whoever buys the unit, and those for the next technician.
Pages pages_of(const PageInput& input);

enum class PaperSize : std::uint8_t { a4, letter };

/// PDF bytes, the same each time. Fails with bad_data when a photo cannot be read, io when there is no memory or font.
Result<std::string> page_pdf(const PageInput& input, PaperSize paper);
/// The same of any pages.
Result<std::string> pages_pdf(const Pages& pages, PaperSize paper);
/// One HTML page that needs nothing else: no script, light and dark, and for the printer.
Result<std::string> page_html(const PageInput& input);
/// The buyer's side, listing_width px wide.
Result<std::string> page_png(const PageInput& input);
/// One graph of the buyer's side alone, listing_width px wide: for a sales listing. Fails with bad_data when there is none.
Result<std::string> graph_png(const PageInput& input);

inline constexpr int listing_width = 1600;

}  // namespace steadyglow::record
