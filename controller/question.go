package controller

import (
	"fmt"
	"strconv"
	"strings"
)

// A Question is one that a stage or an absence puts to the person. The zero Question names none:
// confirms in records that are older than questions answered whatever waited.
type Question struct {
	Stage int          `record:"stage"` // index into the product's stages
	Part  QuestionPart `record:"question"`
	// Absence is the number of the absence of which nobody knows how long it was; then
	// the question is that, and of no stage.
	Absence int `record:"absence"`
}

// QuestionPart says which question of its stage it is.
type QuestionPart uint8

// The parts. Records hold their numbers.
const (
	Unnamed        QuestionPart = iota
	HandStep                    // what the stage asks for as it begins
	firstCondition              // condition i of the stage is firstCondition + i
)

// In names of questions, as in product files.
const (
	askKey       = "ask"
	conditionKey = "until-"
	absenceKey   = "absence-"
)

// String is the name by which a person or a client sends the question back: 2-ask is
// the hand step of the second stage, 4-until-1 the first condition of the fourth, absence-1
// how long the first unknown absence was.
func (q Question) String() string {
	if q.Absence > 0 {
		return absenceKey + strconv.Itoa(q.Absence)
	}
	part := askKey
	if q.Part >= firstCondition {
		part = conditionKey + strconv.Itoa(int(q.Part-firstCondition)+1)
	}
	return fmt.Sprintf("%d-%s", q.Stage+1, part)
}

// ParseQuestion reads what String writes, and nothing else.
func ParseQuestion(text string) (Question, bool) {
	if of, ok := strings.CutPrefix(text, absenceKey); ok {
		n, err := strconv.Atoi(of)
		q := Question{Absence: n}
		return q, err == nil && n > 0 && q.String() == text
	}
	number, part, _ := strings.Cut(text, "-")
	stage, err := strconv.Atoi(number)
	if err != nil || stage < 1 {
		return Question{}, false
	}
	q := Question{Stage: stage - 1, Part: HandStep}
	if of, ok := strings.CutPrefix(part, conditionKey); ok {
		i, err := strconv.ParseUint(of, 10, 8)
		if err != nil || i < 1 || i > 200 {
			return Question{}, false
		}
		q.Part = firstCondition + QuestionPart(i-1)
	}
	return q, q.String() == text
}

// Question is the one that waits for the person, if any.
func (s *State) Question() (Question, bool) {
	switch {
	case !s.Batch.Active():
	case s.Absence.unknown:
		return Question{Absence: s.Absence.number}, true
	case s.Asking:
		return Question{Stage: s.Stage, Part: HandStep}, true
	case s.Confirming > 0:
		return Question{Stage: s.Stage, Part: firstCondition + QuestionPart(s.Confirming-1)}, true
	}
	return Question{}, false
}
