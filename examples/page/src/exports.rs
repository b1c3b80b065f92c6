//! The page's calls as the browser sees them: plain numbers and places in memory.

use alloc::boxed::Box;
use alloc::vec;
use alloc::vec::Vec;
use core::cell::Cell;

use crate::face::Page;
use crate::table::Unit;

#[global_allocator]
static MEMORY: dlmalloc::GlobalDlmalloc = dlmalloc::GlobalDlmalloc;

#[panic_handler]
fn stop(_: &core::panic::PanicInfo<'_>) -> ! {
    core::arch::wasm32::unreachable()
}

#[derive(Default)]
struct State {
    input: Vec<f64>,
    page: Page,
}

/// Taken out while a call works on it: what checks borrows would bring the code that tells of them.
struct Alone(Cell<Option<Box<State>>>);

#[cfg(target_feature = "atomics")]
compile_error!("the page's state is for one thread");
// SAFETY: without atomics there is no second thread in the module
unsafe impl Sync for Alone {}

static STATE: Alone = Alone(Cell::new(None));

fn with<T>(act: impl FnOnce(&mut State) -> T) -> T {
    let mut state = STATE.0.take().unwrap_or_default();
    let done = act(&mut state);
    core::mem::forget(STATE.0.replace(Some(state))); // nothing is there to be dropped
    done
}

fn page<T>(act: impl FnOnce(&mut Page) -> T) -> T {
    with(|state| act(&mut state.page))
}

/// How many mg/dL one mmol/L is.
#[unsafe(no_mangle)]
pub extern "C" fn mg_dl_per_mmol_l() -> f32 {
    glidepath::MG_DL_PER_MMOL_L
}

/// Room for so many numbers; where it begins.
#[unsafe(no_mangle)]
pub extern "C" fn room(numbers: usize) -> *mut f64 {
    with(|state| {
        state.input = vec![0.0; numbers];
        state.input.as_mut_ptr()
    })
}

fn unit(mmol_l: u32) -> Unit {
    if mmol_l != 0 { Unit::MmolL } else { Unit::MgDl }
}

/// Takes the numbers in the room, those of the clock first, as [`Page::trace`] does.
#[unsafe(no_mangle)]
pub extern "C" fn trace(of_clock: usize, mmol_l: u32, interval_s: u32) -> u32 {
    let input = with(|state| core::mem::take(&mut state.input));
    let Some((clock, rows)) = input.split_at_checked(of_clock) else { return 0 };
    page(|page| page.trace(rows, clock, unit(mmol_l), interval_s).into())
}

/// Takes the numbers in the room as [`Page::fingersticks`] does.
#[unsafe(no_mangle)]
pub extern "C" fn fingersticks(mmol_l: u32) -> u32 {
    let input = with(|state| core::mem::take(&mut state.input));
    page(|page| page.fingersticks(&input, unit(mmol_l)).into())
}

/// See [`Page::set`].
#[unsafe(no_mangle)]
pub extern "C" fn set(kind: u32, on: u32, limit: f32) -> u32 {
    page(|page| page.set(kind, on != 0, limit).into())
}

/// See [`Page::defaults`].
#[unsafe(no_mangle)]
pub extern "C" fn defaults() {
    page(Page::defaults);
}

/// See [`Page::play`].
#[unsafe(no_mangle)]
pub extern "C" fn play() -> u32 {
    page(|page| page.play().into())
}

/// How many numbers of a sort there are; they lie at [`numbers_at`] until the next call.
#[unsafe(no_mangle)]
pub extern "C" fn numbers(sort: u32) -> usize {
    page(|page| page.numbers(sort).len())
}

/// Where the numbers lie.
#[unsafe(no_mangle)]
pub extern "C" fn numbers_at() -> *const f64 {
    page(|page| page.numbers_kept().as_ptr())
}

/// How many bytes of words there are; they lie at [`words_at`] until the next call.
#[unsafe(no_mangle)]
pub extern "C" fn words(sort: u32, n: u32) -> usize {
    page(|page| page.words(sort, n).len())
}

/// Where the words lie.
#[unsafe(no_mangle)]
pub extern "C" fn words_at() -> *const u8 {
    page(|page| page.words_kept().as_ptr())
}
