"""How the words of the language are written for a speech synthesiser, and ordinary talk that is not for us.

Takes: words from `sentences.py`. Gives: text to be spoken; talk made of our own sentences.
"""
from grammar import LETTER

LETTERS = {"a": "ay", "b": "bee", "c": "see", "d": "dee", "e": "ee", "f": "eff", "g": "gee", "h": "aitch", "i": "eye", "j": "jay",
    "k": "kay", "l": "ell", "m": "em", "n": "en", "o": "oh", "p": "pee", "q": "cue", "r": "are", "s": "ess", "t": "tee", "u": "you",
    "v": "vee", "w": "double you", "x": "ex", "y": "why", "z": "zed"}
# Where synthesisers stumble, other spellings are mixed in.
SPELLINGS = {
    "hypoechoic": ["hypo echo ick", "hypo ekoick"], "hyperechoic": ["hyper echo ick", "hyper ekoick"],
    "manica": ["manika", "mannika"], "flexoria": ["flexoria", "flex oria"], "abaxial": ["ab axial", "abaxial"],
    "palmar": ["palmar", "pal mar"], "sesamoid": ["sesamoid", "sessamoid"], "standoff": ["stand off", "standoff"],
    "suspensory": ["suspensory"], "whoa": ["woah", "whoa"], "oh": ["oh"], "annular": ["annular", "ann yoular"],
    "avulsion": ["avulsion", "avullsion"], "mineralisation": ["mineralization"],
}
# Said while thinking: the head learns to leave them out, alone or within a call.
HESITATIONS = ["er", "um", "uh", "erm"]


def spell(words, rng, pause=.25, hesitate=.02):
    """Text for a synthesiser: pauses as commas now and then, an "er" seldom."""
    out = []
    for i, word in enumerate(words):
        text = LETTERS[word[len(LETTER):]] if word.startswith(LETTER) else rng.choice(SPELLINGS.get(word, [word]))
        if i and rng.random() < hesitate:
            out.append(rng.choice(HESITATIONS) + ",")
        if i < len(words) - 1 and len(words) > 2 and rng.random() < pause / 2:
            text += ","
        out.append(text)
    return " ".join(out)


# Talk in a yard and about the scan; written for this project. What matters: our words in other people's sentences.
TALK = """morning, shall we start with the grey one
she came in from the field last night and would not put weight on it
hold him there while I find a plug
I can see some change in the tendon here but it is not bad
the deep flexor runs just behind it so we look at both
this dark patch is where the fibres are torn
on the other leg it looks quite normal to me
that bright line is the edge of the bone
we count the zones from the top, so this is the second one
about a third of the tendon is involved I would say
it should take six to nine months before he can gallop
how many weeks of walking is that
in four weeks we scan the same area again
I would not call it severe but it is more than mild
the check ligament often goes with it
does she always stand like that
he was clipped on friday so the skin is clean
mind your fingers on the gate
my daughter has her first lesson at four
what does the swelling mean for the sale
they said the score would be on the report
could you lift the near fore when I ask
we left the lorry at the front of the yard
the branch on the inside looks thicker to me
is that the lateral one, I always mix them up
the gel is cold, that is why he jumps
there was fluid in the sheath last time as well
put the probe a little further down
the length of the lesion matters less than the width
no, leave that on, I still need the light
we had two horses like this in the spring
that was in twenty nineteen I think
the invoice is a hundred and twenty plus the drive
my knee is no better since march
did you get the message about tuesday
the kettle has just boiled if anybody wants some
there is a dead branch across the road
we sold three of them at the end of the summer
the farrier says the heel is too long
I will call you back at half past seven
the wheelbarrow is full again
somebody parked in front of the water tap
good, that is all I wanted to see
let me write that down before I forget
the point is she was sound on hard ground
if it is only a scar it will never change
one more minute and then he can go back
I had a look at the pictures from the other practice
you see the gap here, that is what I mean
every depth shows something else
turn him round so that I get to the off side
that dog has taken my glove
we will repeat the scan before he goes back to work
the owner wants to know if she can breed from her
open the door a bit, it is dark in here
not seen one of those in years
keep the record, the insurance will ask
she stood on my foot, the fat cow
he is easy to handle, a good boy really
what time does the school finish today
I read about that in the paper
stop pulling, will you
start the engine and let it warm up
are you listening to me
the marker is on the left of the screen
on the long axis you would see it better
the area is twice what it was
forty five minutes by the motorway
a level floor would help
it was a split second and he was over the fence
we should note that somewhere
the second opinion was no better than the first
rest is the core of the treatment
nothing to save there I am afraid
the new bone is soft at first
stand back a little, he kicks
walk him up and down once more
thank you, that was very kind
okay, right, so where was I
so this one is the superficial, and behind it you have the deep one
I am looking for a hole in the middle of the tendon, a core lesion we call it
there is no lesion that I can find, which is good news
the vet before me thought that there was a split
if the fibres line up well at twelve weeks he can start trotting
a normal tendon is about a hundred square millimetres at this level
it measures the cross section for us when I draw round it
that grey patch could be old scar or it could be new, I cannot tell yet
we will do the other leg in a minute so that we can compare
the hind ones are harder to see because of the angle
she has always had thick legs so do not worry about that
did the last report say right fore or left fore
you asked about the suspensory, that comes next
the branches are lower down, near the fetlock
in the transverse view you see it as an oval
when I turn the probe it becomes longitudinal and you see the fibres run
the picture gets darker if I tilt it, so that is not real
I will save a few of these for the insurance
how big was the defect in march, do you remember
it is a bit smaller than it was I should think
a third of the area is a lot, but he is young
there is some fluid round it, like water in a sock
could you hold the tail and keep him off my back
tell me if he starts to lean on you
the image is better when the leg has no weight on it
bring the light closer and I can read the numbers
forty is too much gain, it all goes white
I measured it twice and got two different numbers
most of these heal with rest and a lot of patience
the check ligament is that one, joining the deep flexor
this machine freezes when I press that, so wait
no, I have not started the right one yet
he had an injection in the joint two years ago
is the sheath supposed to be that full
the annular ligament can get tight and then it hurts
an adhesion is when two things stick together that should slide
on the scale of four this would be a two at most
we do all seven zones from top to bottom on each leg
that was the origin up here under the knee
the owner took the picture home to show her trainer
can we have the radio off please, I need to hear myself
what does hypoechoic mean, people always ask me that
mild, moderate, severe, those are just words
compared with the spring that looks much better
I would say improved, but we need the numbers
the lateral one is fine, it is the medial that bothers me
put a bandage on that as soon as I have wiped the gel off
next horse in ten minutes, let me finish the notes first
your other mare had the same thing in the same place
repeat that, I did not hear you over the tractor
we cannot see round the corner of the bone
it was never a clean cut, more of a ragged tear
the end of the exam is when I say so
doppler shows whether blood is flowing in there
that artefact is from the hair, I should clip again
stand him square and I will do one more""".split("\n")
STARTS = ["well", "you know", "so", "look", "I mean", "right", "as I said", "listen", "and then"]
ENDS = ["does it not", "I think", "if you ask me", "anyway", "or so they say", "right", "you see"]
# A call's own words inside somebody's sentence: no call.
AROUND = """I was going to look at the {} but she moved
so what you see there is the {} from behind
the last vet wrote {} and I do not agree with that
is the {} the one that was sore in spring
could that be {} or am I reading too much into it
when I say {} I only mean how it looks on the screen
she asked me whether {} was a bad thing
if we find {} again we will think about an injection
my old horse had {} for the whole of last season
they taught us {} at college and nobody uses it
and underneath you can make out the {} quite well
that would be {} in any textbook you open
it might look like {} from where you are standing
we had {} on the other one last week
I would rather not call it {} today
do you see how the {} gets wider as I go down
put {} in the letter to the insurance please
well it is not {} anyway
the owner thinks {} means he is finished
what is {} supposed to look like in a foal
there used to be {} just about here
I will come back to the {} in a second
you can forget about {} for now
he told me {} on the telephone and I laughed
compare that with {} on the picture from may
you said {} earlier, did you not
let me explain what {} means for the two of you
a bit like {} but softer, if that makes sense
not {} exactly, more of a shadow
everybody asks about the {} and nobody about the feet""".split("\n")
PLAIN = """water bucket window sunday table kitchen brother garden summer winter people because really never always
maybe doctor saddle bridle engine yellow purple coffee butter hammer ladder paper money school street letter weather
morning evening yesterday tomorrow somebody nobody anything carrots apples hay straw tractor trailer rabbit chicken
running jumping sleeping waiting talking buying selling broken happy tired hungry quick slow heavy light above under
between before after during without against telephone computer camera picture number minute hour week month year
about would could should might their which while until""".split()


def around(rng, text):
    """A call, as text, inside a sentence."""
    return rng.choice(AROUND).format(text)


def talk(rng, vocabulary):
    """A piece of talk not meant for the program, as text."""
    r = rng.random()
    if r < .6:
        text = rng.choice(TALK)
        if rng.random() < .3:
            text = rng.choice(STARTS) + ", " + text
        if rng.random() < .2:
            text += ", " + rng.choice(ENDS)
        words = text.split()
        if rng.random() < .2 and len(words) > 5:  # a piece out of the middle
            cut = rng.randint(0, len(words) - 4)
            text = " ".join(words[cut:cut + rng.randint(3, 8)])
        return text
    plain = [word for word in PLAIN if word not in vocabulary]
    if r < .85:
        return " ".join(rng.choice(plain) for _ in range(rng.randint(1, 8)))
    # Our words, but tied together as nobody calls them.
    return " ".join(rng.choice(plain) if i % 2 else rng.choice(vocabulary) for i in range(rng.randint(3, 9)))
