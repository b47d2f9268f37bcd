//! A map for what is kept for long and seldom changed: its pairs side by side, in the order of the keys.
//!
//! A catalogue has one of these for every part, a board one for every slot. A tree's nodes have room for
//! eleven pairs each, of which these need few. May not know what it holds.

use std::borrow::Borrow;
use std::collections::BTreeMap;

/// Pairs in the order of their keys, no key twice.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Sorted<K, V>(Vec<(K, V)>);

impl<K, V> Default for Sorted<K, V> {
    fn default() -> Self {
        Sorted(Vec::new())
    }
}

impl<K: Ord, V> Sorted<K, V> {
    pub fn new() -> Self {
        Self::default()
    }

    fn find<Q: Ord + ?Sized>(&self, key: &Q) -> Result<usize, usize>
    where
        K: Borrow<Q>,
    {
        self.0.binary_search_by(|(one, _)| one.borrow().cmp(key))
    }

    pub fn get<Q: Ord + ?Sized>(&self, key: &Q) -> Option<&V>
    where
        K: Borrow<Q>,
    {
        let place = self.find(key).ok()?;
        Some(&self.0[place].1)
    }

    pub fn contains_key<Q: Ord + ?Sized>(&self, key: &Q) -> bool
    where
        K: Borrow<Q>,
    {
        self.find(key).is_ok()
    }

    /// Puts a value in its place and returns the one that was there.
    pub fn insert(&mut self, key: K, value: V) -> Option<V> {
        match self.find(&key) {
            Ok(place) => Some(std::mem::replace(&mut self.0[place].1, value)),
            Err(place) => {
                self.0.reserve_exact(1);
                self.0.insert(place, (key, value));
                None
            }
        }
    }

    pub fn remove<Q: Ord + ?Sized>(&mut self, key: &Q) -> Option<V>
    where
        K: Borrow<Q>,
    {
        let place = self.find(key).ok()?;
        Some(self.0.remove(place).1)
    }

    pub fn retain(&mut self, mut keeps: impl FnMut(&K, &mut V) -> bool) {
        self.0.retain_mut(|(key, value)| keeps(key, value));
        self.0.shrink_to_fit();
    }

    pub fn len(&self) -> usize {
        self.0.len()
    }

    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    pub fn iter(&self) -> impl ExactSizeIterator<Item = (&K, &V)> + DoubleEndedIterator {
        self.0.iter().map(|(key, value)| (key, value))
    }

    pub fn iter_mut(&mut self) -> impl ExactSizeIterator<Item = (&K, &mut V)> {
        self.0.iter_mut().map(|(key, value)| (&*key, value))
    }

    pub fn keys(&self) -> impl ExactSizeIterator<Item = &K> + DoubleEndedIterator {
        self.0.iter().map(|(key, _)| key)
    }

    pub fn values(&self) -> impl ExactSizeIterator<Item = &V> + DoubleEndedIterator {
        self.0.iter().map(|(_, value)| value)
    }

    pub fn values_mut(&mut self) -> impl ExactSizeIterator<Item = &mut V> {
        self.0.iter_mut().map(|(_, value)| value)
    }
}

impl<K: Ord, V> FromIterator<(K, V)> for Sorted<K, V> {
    /// Of two values of one key the later one counts.
    fn from_iter<I: IntoIterator<Item = (K, V)>>(pairs: I) -> Self {
        let mut pairs: Vec<(K, V)> = pairs.into_iter().collect();
        if !pairs.is_sorted_by(|(one, _), (next, _)| one < next) {
            pairs = BTreeMap::from_iter(pairs).into_iter().collect();
        }
        pairs.shrink_to_fit();
        Sorted(pairs)
    }
}

impl<K: Ord, V> Extend<(K, V)> for Sorted<K, V> {
    fn extend<I: IntoIterator<Item = (K, V)>>(&mut self, pairs: I) {
        for (key, value) in pairs {
            self.insert(key, value);
        }
    }
}

impl<K: Ord, V> From<BTreeMap<K, V>> for Sorted<K, V> {
    fn from(map: BTreeMap<K, V>) -> Self {
        map.into_iter().collect()
    }
}

impl<K: Ord, V, const N: usize> From<[(K, V); N]> for Sorted<K, V> {
    fn from(pairs: [(K, V); N]) -> Self {
        pairs.into_iter().collect()
    }
}

impl<K, V> IntoIterator for Sorted<K, V> {
    type Item = (K, V);
    type IntoIter = std::vec::IntoIter<(K, V)>;

    fn into_iter(self) -> Self::IntoIter {
        self.0.into_iter()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn it_answers_as_a_tree_does(
            pairs in proptest::collection::vec((0u8..20, any::<u16>()), 0..30),
            changes in proptest::collection::vec((0u8..20, any::<Option<u16>>()), 0..30),
        ) {
            let mut tree: BTreeMap<u8, u16> = pairs.iter().copied().collect();
            let mut sorted: Sorted<u8, u16> = pairs.into_iter().collect();
            for (key, change) in changes {
                prop_assert_eq!(sorted.get(&key), tree.get(&key));
                prop_assert_eq!(sorted.contains_key(&key), tree.contains_key(&key));
                match change {
                    Some(value) => prop_assert_eq!(sorted.insert(key, value), tree.insert(key, value)),
                    None => prop_assert_eq!(sorted.remove(&key), tree.remove(&key)),
                }
                prop_assert_eq!(sorted.len(), tree.len());
                prop_assert!(sorted.iter().eq(&tree));
            }
            sorted.retain(|key, value| key % 2 == 0 || *value > 9);
            tree.retain(|key, value| key % 2 == 0 || *value > 9);
            prop_assert!(sorted.iter().eq(&tree));
            prop_assert_eq!(Sorted::from(tree), sorted);
        }
    }
}
