#pragma once
/// The pages of a stored run: its figures from the store, what the card of the unit says, photos from beside the store.
#include <cstdint>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "core/result.hpp"
#include "record/page_input.hpp"
#include "seal/container.hpp"

namespace steadyglow::app {

struct PageWishes {
  std::vector<std::int64_t> sisters;  ///< runs of the other half of a pair
  std::string shop;
};

struct RunPages {
  record::RunFigures figures;
  record::PageInput input;  ///< points at figures
  std::string card;         ///< the card of the unit as a JSON object; empty when there is none
};

/// Thread: any; seconds for a long run, so never the loop. A run that goes on gives the pages of what there is.
/// A photo that is gone or damaged is left out, and the pages say so. Fails: bad_data when there is no such run or it cannot be read,
/// otherwise as the store's reader does.
Result<std::unique_ptr<RunPages>> pages_of_run(const std::string& store_file, std::int64_t run, const PageWishes& wishes = {});

/// One file of the pages by its name: page.pdf, page.html, page.png, graph.png. `paper`: a4 or letter, "" is a4. Fails: usage for another name or paper.
Result<std::string> page_file(const record::PageInput& input, std::string_view name, std::string_view paper = {});

/// What goes into the sealed record beside its data: the pages and the card, each a file.
Result<std::vector<seal::NamedFile>> record_pages(const RunPages& pages);

}  // namespace steadyglow::app
