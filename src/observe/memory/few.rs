//! A handful of results worked out last: the cells of a list fall into few kinds.

/// The last results, by what they were worked out from.
pub struct Few<K, V> {
    kept: [Option<(K, V)>; 6],
    next: usize,
}

impl<K: Copy, V: Copy> Default for Few<K, V> {
    fn default() -> Self {
        Self {
            kept: [None; 6],
            next: 0,
        }
    }
}

impl<K: Copy + PartialEq, V: Copy> Few<K, V> {
    /// The result for this key: kept, or what `work_out` gives, which must depend on nothing else.
    pub fn get(&mut self, key: K, work_out: impl FnOnce() -> V) -> V {
        let found = self.kept.iter().flatten().find(|(k, _)| *k == key);
        if let Some((_, value)) = found {
            return *value;
        }
        let value = work_out();
        self.kept[self.next] = Some((key, value));
        self.next = (self.next + 1) % self.kept.len();
        value
    }
}
