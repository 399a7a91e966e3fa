//! Operations that longest lags tie together, to be placed together.
//!
//! When an operation must follow another within some time, neither can be placed without a look at the other, nor
//! without what the later one waits for besides. Such operations make a block: a strongly connected component of the
//! graph of links in which a longest lag also leads back (found after Kosaraju; Sharir 1981, from memory). What a block
//! waits for is not in it, so blocks can be placed one after another, each late enough for all its lags.

use crate::planning::engine::model::build::{Lag, NO_MAX, Shop};

/// Every operation that is not fixed in its block; most are blocks of their own.
#[derive(Debug)]
pub(super) struct Blocks {
    /// By operation: the first of its block.
    head: Vec<u32>,
    /// Operations block by block, each in an order that respects the links; by head, where they stand.
    members: Vec<u32>,
    places: Vec<(u32, u32)>,
    /// By head: whether the block must follow fixed work within some time, or is waited for by one that must.
    urgent: Vec<bool>,
}

impl Blocks {
    pub fn new(shop: &Shop) -> Self {
        let n = shop.ops.len();
        let topological = shop.topological();
        let mut head: Vec<u32> = (0..n as u32).collect();
        if shop.has_max_lags {
            find_heads(shop, &topological, &mut head);
        }
        let mut by_head = vec![Vec::new(); n];
        for &op in &topological {
            by_head[head[op as usize] as usize].push(op);
        }
        let mut members = Vec::with_capacity(n);
        let places = by_head.iter().map(|block| {
            let from = members.len() as u32;
            members.extend_from_slice(block);
            (from, members.len() as u32)
        });
        let places = places.collect();
        let urgent = find_urgent(shop, &topological, &head);
        Self {
            head,
            members,
            places,
            urgent,
        }
    }

    /// The operation by which the block of another goes.
    pub fn head(&self, op: u32) -> u32 {
        self.head[op as usize]
    }

    /// The operations of the block of a head, in an order that respects the links.
    pub fn members(&self, head: u32) -> &[u32] {
        let (from, to) = self.places[head as usize];
        &self.members[from as usize..to as usize]
    }

    /// Whether a block had better be placed before all that are not urgent.
    pub fn is_urgent(&self, head: u32) -> bool {
        self.urgent[head as usize]
    }

    /// By head: how many links lead into the block from work that is not placed yet.
    pub fn waits(&self, shop: &Shop) -> Vec<u32> {
        let mut waits = vec![0; self.head.len()];
        for op in 0..self.head.len() as u32 {
            let into = shop.before(op).iter();
            let into = into.filter(|l| !is_fixed(shop, l.op) && self.head(l.op) != self.head(op));
            waits[self.head(op) as usize] += into.count() as u32;
        }
        waits
    }
}

/// By head: which blocks must follow fixed work within some time, and which those wait for.
fn find_urgent(shop: &Shop, topological: &[u32], head: &[u32]) -> Vec<bool> {
    let mut urgent = vec![false; head.len()];
    // A block becomes urgent by any of its operations, so what it waits for may have been passed by then.
    let mut changed = shop.has_max_lags;
    while std::mem::take(&mut changed) {
        for &op in topological.iter().rev().filter(|&&op| !is_fixed(shop, op)) {
            let hurried = |l: &Lag| l.max != NO_MAX && is_fixed(shop, l.op);
            let waited_for = |l: &Lag| urgent[head[l.op as usize] as usize];
            let h = head[op as usize] as usize;
            if !urgent[h]
                && (shop.before(op).iter().any(hurried) || shop.after(op).iter().any(waited_for))
            {
                urgent[h] = true;
                changed = true;
            }
        }
    }
    urgent
}

fn is_fixed(shop: &Shop, op: u32) -> bool {
    shop.ops[op as usize].fixed
}

/// Writes to each operation the first of its block in topological order.
fn find_heads(shop: &Shop, topological: &[u32], head: &mut [u32]) {
    let free = |l: &&Lag| !is_fixed(shop, l.op);
    let after = |op: u32| {
        let back = shop.before(op).iter().filter(|l| l.max != NO_MAX);
        let links = shop.after(op).iter().chain(back).filter(free);
        links.map(|l| l.op).collect::<Vec<u32>>()
    };
    let before = |op: u32| {
        let back = shop.after(op).iter().filter(|l| l.max != NO_MAX);
        let links = shop.before(op).iter().chain(back).filter(free);
        links.map(|l| l.op).collect::<Vec<u32>>()
    };
    let mut seen = vec![false; head.len()];
    let mut left: Vec<u32> = Vec::with_capacity(head.len());
    for &from in topological.iter().filter(|&&op| !is_fixed(shop, op)) {
        walk(from, after, &mut seen, |op| left.push(op));
    }
    seen.fill(false);
    let mut place = vec![0; head.len()];
    for (k, &op) in (0u32..).zip(topological) {
        place[op as usize] = k;
    }
    while let Some(from) = left.pop() {
        let mut block = Vec::new();
        walk(from, before, &mut seen, |op| block.push(op));
        let first = block.iter().copied().min_by_key(|&op| place[op as usize]);
        for op in block {
            head[op as usize] = first.unwrap_or(op);
        }
    }
}

/// Goes depth first to all that is not seen yet, and tells of each operation as it is left.
fn walk(from: u32, next: impl Fn(u32) -> Vec<u32>, seen: &mut [bool], mut leave: impl FnMut(u32)) {
    if std::mem::replace(&mut seen[from as usize], true) {
        return;
    }
    let mut path = vec![(from, next(from))];
    while let Some((op, to)) = path.last_mut() {
        match to.pop() {
            Some(there) => {
                if !std::mem::replace(&mut seen[there as usize], true) {
                    path.push((there, next(there)));
                }
            }
            None => {
                leave(*op);
                path.pop();
            }
        }
    }
}
