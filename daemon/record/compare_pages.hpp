#pragma once
/// A comparison as pages: what is beyond first, then every figure, then both runs over time.
#include "record/compare.hpp"
#include "record/page_model.hpp"

namespace steadyglow::record {

Pages comparison_pages(const Comparison& comparison);
Pages comparison_pages(const ModelComparison& comparison);

}  // namespace steadyglow::record
