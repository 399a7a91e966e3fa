//! Which operation follows which on its machine and with its person: two doubly linked lists, each with a head.

use super::Decisions;
use crate::planning::engine::model::build::{NONE, Shop};

/// The two chains an operation is in.
pub(super) const MACHINE: usize = 0;
pub(super) const PERSON: usize = 1;

/// The neighbours of an operation on its machine and with its person.
///
/// Where there is none before, the head of the chain stands; where there is none after, [`NONE`].
#[derive(Debug, Clone, Copy)]
pub(super) struct Node {
    pub before: [u32; 2],
    pub after: [u32; 2],
}

/// In no chain at all.
const APART: Node = Node {
    before: [NONE; 2],
    after: [NONE; 2],
};

/// A change to be taken back.
#[derive(Debug, Clone, Copy)]
enum Change {
    Node(u32, Node),
    Heads(u32, [u32; 2]),
}

/// Places searched for a neighbour in another chain before that is walked from its head.
const SEARCHED: usize = 256;

/// The chains of all machines and people.
#[derive(Debug, Clone)]
pub(super) struct Chains {
    /// By operation; then the head of each machine's chain, of each person's, and one for what is in no chain.
    pub nodes: Vec<Node>,
    /// Places in the order; heads are before all places.
    pub pos: Vec<i32>,
    /// What each leaves on the table.
    pub keys: Vec<u32>,
    /// The heads of the chains that an operation is in; none while it is taken out.
    heads: Vec<[u32; 2]>,
    /// What was changed since it was last kept.
    log: Vec<Change>,
    /// By person, of those last looked for: the last operation before some place. Of others it is never [`NONE`].
    pub last_of: Vec<u32>,
    operations: u32,
    machines: u32,
    people: u32,
}

impl Chains {
    /// How many heads there are.
    pub fn heads(shop: &Shop) -> usize {
        shop.machines() + shop.people_count + 1
    }

    pub fn new(shop: &Shop) -> Self {
        let n = shop.ops.len();
        let all = n + Self::heads(shop);
        let mut keys: Vec<u32> = shop.ops.iter().map(|o| o.key).collect();
        keys.extend_from_slice(&shop.on_table);
        keys.resize(all, NONE);
        Self {
            nodes: vec![APART; all],
            pos: vec![-1; all],
            keys,
            heads: vec![[NONE; 2]; n],
            log: Vec::with_capacity(16 * n),
            last_of: vec![0; shop.people_count],
            operations: n as u32,
            machines: shop.machines() as u32,
            people: shop.people_count as u32,
        }
    }

    /// Links everything in an order.
    pub fn build(&mut self, shop: &Shop, d: &Decisions) {
        self.log.clear();
        self.nodes.fill(APART);
        let n = self.operations as usize;
        // The last of each chain so far.
        let mut last: Vec<u32> = (self.operations..self.nodes.len() as u32).collect();
        for (k, &op) in d.order.iter().enumerate() {
            self.pos[op as usize] = k as i32;
            let heads = self.heads_of(shop, d, op);
            self.heads[op as usize] = heads;
            for (side, head) in heads.into_iter().enumerate() {
                let last = &mut last[head as usize - n];
                self.nodes[op as usize].before[side] = *last;
                if head != self.nowhere() {
                    self.nodes[*last as usize].after[side] = op;
                    *last = op;
                }
            }
        }
    }

    /// The operation before on the machine or with the person.
    #[inline]
    pub fn before(&self, op: u32, side: usize) -> Option<u32> {
        let before = self.nodes[op as usize].before[side];
        (before < self.operations).then_some(before)
    }

    /// The head that stands for no chain.
    #[inline]
    fn nowhere(&self) -> u32 {
        self.operations + self.machines + self.people
    }

    #[inline]
    fn person_head(&self, person: u32) -> u32 {
        self.operations + self.machines + person
    }

    /// The heads of the chains an operation belongs in.
    #[inline]
    fn heads_of(&self, shop: &Shop, d: &Decisions, op: u32) -> [u32; 2] {
        let c = d.choice[op as usize];
        let machine = shop.modes(op)[c.mode as usize].machine;
        let mut heads = [self.nowhere(); 2];
        if machine < self.machines {
            heads[MACHINE] = self.operations + machine;
        }
        if c.person != NONE {
            heads[PERSON] = self.person_head(c.person);
        }
        heads
    }

    #[inline]
    fn edit(&mut self, at: u32) -> &mut Node {
        self.log.push(Change::Node(at, self.nodes[at as usize]));
        &mut self.nodes[at as usize]
    }

    /// Takes the moved operations out of their chains and puts them in again where places and choices now say,
    /// telling `changed` of each operation that has another before it than it had. `moved` stands in the order before
    /// the move.
    #[inline]
    pub fn relink(
        &mut self,
        shop: &Shop,
        d: &Decisions,
        moved: &[u32],
        mut changed: impl FnMut(&Self, u32),
    ) {
        let nowhere = self.nowhere();
        // In their old order, so that what each keeps as its neighbour before is not itself taken out.
        for &op in moved {
            let node = self.nodes[op as usize];
            let heads = self.heads[op as usize];
            for side in [MACHINE, PERSON] {
                if heads[side] != nowhere {
                    self.edit(node.before[side]).after[side] = node.after[side];
                    if node.after[side] != NONE {
                        self.edit(node.after[side]).before[side] = node.before[side];
                    }
                }
            }
            self.log.push(Change::Node(op, self.nodes[op as usize]));
            self.log.push(Change::Heads(op, heads));
            self.heads[op as usize] = [NONE; 2];
        }
        for &op in moved {
            let heads = self.heads_of(shop, d, op);
            for side in [MACHINE, PERSON] {
                let old = self.nodes[op as usize];
                let (was_before, was_after) = (old.before[side], old.after[side]);
                if heads[side] == nowhere {
                    self.nodes[op as usize].before[side] = nowhere;
                    self.nodes[op as usize].after[side] = NONE;
                    if was_before != nowhere {
                        changed(self, op);
                        if was_after != NONE {
                            changed(self, was_after);
                        }
                    }
                    continue;
                }
                let before = self.place(d, op, side, heads[side], was_before);
                let after = self.nodes[before as usize].after[side];
                self.edit(before).after[side] = op;
                if after != NONE {
                    self.edit(after).before[side] = op;
                }
                let node = &mut self.nodes[op as usize];
                node.before[side] = before;
                node.after[side] = after;
                if before != was_before || after != was_after {
                    changed(self, op);
                    if after != NONE {
                        changed(self, after);
                    }
                    if was_after != NONE {
                        changed(self, was_after);
                    }
                }
            }
            self.heads[op as usize] = heads;
        }
    }

    /// What an operation comes behind in a chain by its place in the order.
    #[inline]
    fn place(&self, d: &Decisions, op: u32, side: usize, head: u32, was_before: u32) -> u32 {
        let at = self.pos[op as usize];
        let in_chain =
            |x: u32| x == head || self.heads.get(x as usize).is_some_and(|h| h[side] == head);
        let mut before = if in_chain(was_before) {
            was_before
        } else {
            let near = d.order[..at as usize].iter().rev().take(SEARCHED);
            near.copied().find(|&x| in_chain(x)).unwrap_or(head)
        };
        while self.pos[before as usize] > at {
            before = self.nodes[before as usize].before[side];
        }
        loop {
            let after = self.nodes[before as usize].after[side];
            if after == NONE || self.pos[after as usize] > at {
                return before;
            }
            before = after;
        }
    }

    /// Finds the last operation in each of several people's chains before a place of the order, the head of the chain
    /// when there is none, and writes them to [`last_of`](Self::last_of).
    pub fn find_last_of(&mut self, d: &Decisions, place: usize, people: &[u32]) {
        const WANTED: u32 = NONE;
        let first = self.person_head(0);
        for &person in people {
            self.last_of[person as usize] = WANTED;
        }
        let mut wanted = people.len();
        for &op in d.order[..place].iter().rev() {
            if wanted == 0 {
                return;
            }
            let person = self.heads[op as usize][PERSON].wrapping_sub(first);
            if let Some(last) = self.last_of.get_mut(person as usize)
                && *last == WANTED
            {
                *last = op;
                wanted -= 1;
            }
        }
        for &person in people {
            if self.last_of[person as usize] == WANTED {
                self.last_of[person as usize] = first + person;
            }
        }
    }

    /// Takes an operation out of its person's chain and puts it into another's, behind `before`. Gives what followed it
    /// in the old one and what follows it in the new one, [`NONE`] for nothing.
    #[inline]
    pub fn hand_over(&mut self, op: u32, person: u32, before: u32) -> [u32; 2] {
        let node = self.nodes[op as usize];
        let (was_before, was_after) = (node.before[PERSON], node.after[PERSON]);
        self.edit(was_before).after[PERSON] = was_after;
        if was_after != NONE {
            self.edit(was_after).before[PERSON] = was_before;
        }
        let after = self.nodes[before as usize].after[PERSON];
        self.edit(before).after[PERSON] = op;
        if after != NONE {
            self.edit(after).before[PERSON] = op;
        }
        let node = self.edit(op);
        node.before[PERSON] = before;
        node.after[PERSON] = after;
        self.log.push(Change::Heads(op, self.heads[op as usize]));
        self.heads[op as usize][PERSON] = self.person_head(person);
        [was_after, after]
    }

    /// Keeps the chains as they are now.
    #[inline]
    pub fn keep(&mut self) {
        self.log.clear();
    }

    /// Takes back everything since the chains were last kept, except places.
    #[inline]
    pub fn restore(&mut self) {
        while let Some(change) = self.log.pop() {
            match change {
                Change::Node(at, node) => self.nodes[at as usize] = node,
                Change::Heads(op, heads) => self.heads[op as usize] = heads,
            }
        }
    }
}
