//! What was worked out of a board once and does not change: kept with the board, for the next sheet.

use std::any::{Any, TypeId};
use std::fmt;
use std::sync::{Arc, Mutex, PoisonError};

/// One value of each type that somebody works out of a board. A copy of a board begins with an empty one, so that it may be
/// changed; a board that was ranked on must not be changed any more.
#[derive(Default)]
pub struct Memo(Mutex<Vec<(TypeId, Arc<dyn Any + Send + Sync>)>>);

impl Memo {
    /// The value of this type, made empty at the first call.
    pub fn of<T: Default + Any + Send + Sync>(&self) -> Arc<T> {
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let id = TypeId::of::<T>();
        let found = all.iter().find(|(of, _)| *of == id);
        if let Some(Ok(value)) = found.map(|(_, v)| Arc::clone(v).downcast::<T>()) {
            return value;
        }
        let value = Arc::new(T::default());
        all.push((id, value.clone()));
        value
    }
}

impl Clone for Memo {
    fn clone(&self) -> Self {
        Self::default()
    }
}

impl fmt::Debug for Memo {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Memo")
    }
}
